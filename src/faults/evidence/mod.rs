//! The findings, in words with numbers.

mod cause;
mod rows;

use crate::angle::Angle;
use crate::explain::{
    Compass, ComputedPositions, Explanation, Fault, FaultAxis, LooseJoint, Misread, Misreading,
    Tell, TwoPlaces, Worst,
};
use crate::mount::{AxisKind, Kind};
use crate::number;
use crate::solve::{misreading_words, words};
use crate::station::Station;

use super::advice::{Advice, advice};
use super::finding::{Finding, Rival, Subject, measured};

pub use cause::of_cause;
pub use rows::of_rows;

/// A finding with the advice for its fault, the rest to be filled in.
fn finding(mount: Kind, fault: Fault, axis: FaultAxis, p_value: f64, evidence: String) -> Finding {
    let Advice {
        confirm,
        mend,
        caution,
        otherwise,
    } = advice(fault, axis);
    let mend = if caution.is_empty() {
        mend.to_owned()
    } else {
        format!("{mend} {caution}")
    };
    let in_words = fault.words_on(mount);
    Finding {
        fault,
        name: fault.name_on(mount),
        headline: words::capital(&in_words),
        in_words,
        axis,
        axis_name: axis.key_on(mount),
        size: None,
        size_unit: String::new(),
        sigma: None,
        false_alarm_probability: p_value.clamp(0.0, 1.0),
        evidence: sentence(&evidence),
        confirm: mount.said(confirm),
        mend: mount.said(&mend),
        otherwise: mount.said(otherwise),
        rows: Vec::new(),
        rivals: Vec::new(),
        strength: 0.0,
        subject: Subject::Session,
    }
}

/// The text with a capital letter and a full stop.
fn sentence(text: &str) -> String {
    format!("{}.", words::capital(text))
}

/// Hypotheses that explain the data about as well, in words.
fn rivals(mount: Kind, rivals: &[crate::explain::RivalHypothesis]) -> Vec<Rival> {
    (rivals.iter())
        .map(|r| Rival {
            fault: r.fault,
            name: r.fault.name_on(mount),
            axis: r.axis,
            axis_name: r.axis.key_on(mount),
            size: r.size.value,
            size_unit: r.size.unit.to_owned(),
            sigma: r.size.sigma,
            tell: tell_words(mount, &r.tell),
        })
        .collect()
}

fn tell_words(mount: Kind, tell: &Tell) -> String {
    let [one, two] = mount.axes().map(AxisKind::words);
    match tell {
        Tell::BothEmitters => "peak both emitters again and note their frequency".to_owned(),
        Tell::FastAndStill => {
            "peak a fast satellite, for which seconds matter, and a beacon or a geostationary one, \
             for which they do not"
                .to_owned()
        }
        Tell::AnotherPass => {
            "peak that satellite again at another part of its orbit, with fresh elements".to_owned()
        }
        Tell::LowEmitters => {
            "peak an emitter as low as it can be received, and a beacon or mark at the same \
             elevation, whose rays the air does not bend"
                .to_owned()
        }
        Tell::ByHand => {
            "no reasonable number of peaks would tell them apart; check by hand".to_owned()
        }
        Tell::Peaks {
            count,
            azimuth,
            elevation,
            hours_later,
            first_side,
            apart,
        } => format!(
            "{} near {one} reading {:.0} deg, {two} {:.0} deg, {hours_later} h after the last one{}: \
             there the two differ by {apart:.1} times the scatter",
            if *count > 1.0 {
                format!("{count} peaks")
            } else {
                "a peak".to_owned()
            },
            azimuth.degrees(),
            elevation.degrees(),
            first_side.map_or(String::new(), |side| format!(
                ", arriving from both sides ({} first)",
                side.symbol()
            )),
        ),
    }
}

/// Another reading of the log.
pub fn of_misreading(explanation: &Explanation, misread: &Misread, station: &Station) -> Finding {
    let told = |scatter: Angle, bad: usize| {
        let out = if bad > 0 {
            format!(
                ", {bad} of {} peaks left out",
                explanation.session.peaks.len()
            )
        } else {
            String::new()
        };
        format!("{} deg{out}", number::two_digits(scatter.degrees()))
    };
    let before = misread.as_logged.map_or_else(
        || "cannot be fitted at all".to_owned(),
        |(scatter, bad)| format!("scatter by {}", told(scatter, bad)),
    );
    let misreading = &misread.misreading;
    let site = &station.site;
    let (axis, size) = match misreading {
        Misreading::Hours(hours) => (FaultAxis::Both, Some((*hours, "h"))),
        Misreading::LongitudeSign => (FaultAxis::Both, Some((-site.longitude.degrees(), "deg"))),
        Misreading::LatitudeSign => (FaultAxis::Both, Some((-site.latitude.degrees(), "deg"))),
        Misreading::SiteSwapped | Misreading::Exchanged => (FaultAxis::Both, None),
        Misreading::AzimuthReversed => (FaultAxis::Azimuth, None),
        Misreading::FromTheZenith => (FaultAxis::Elevation, None),
        Misreading::Unit { axis, degrees, .. } => (*axis, Some((*degrees, "deg per unit"))),
        Misreading::PointedMinutes(axis) => (*axis, None),
    };
    let what = misreading_words(misreading, station);
    let bad = explanation.fit.kept.iter().filter(|k| !**k).count();
    let after = told(explanation.scatter(), bad);
    let evidence = match misreading {
        Misreading::FromTheZenith => format!(
            "as logged the peaks need an elevation zero of about 90 deg; with {what} they need \
             {:.2} deg and scatter by {after}",
            explanation
                .model
                .terms()
                .shown(crate::mount::Term::ElevationZero)
        ),
        _ => format!(
            "as logged the peaks {before}; with {what} they scatter by {after}; p-value {}, \
             corrected for {} such mistakes tried",
            number::probability(misread.p_value),
            Misreading::all().len()
        ),
    };
    let mut found = Finding {
        headline: words::capital(&format!("the log fits only with {what}")),
        size: size.map(|s| s.0),
        size_unit: size.map_or(String::new(), |s| s.1.to_owned()),
        sigma: size.map(|_| 0.0),
        strength: f64::INFINITY,
        ..finding(
            station.mount.kind(),
            misreading.fault(),
            axis,
            misread.p_value,
            evidence,
        )
    };
    match misreading {
        Misreading::LatitudeSign => {
            found.in_words = "the latitude has the wrong sign".to_owned();
            found.confirm =
                "Look the site up on a map: latitudes south of the equator are negative."
                    .to_owned();
            found.mend = "Change the sign of latitude_deg in the station file.".to_owned();
            found.otherwise =
                "Latitude and longitude exchanged leave neither of the two right.".to_owned();
        }
        Misreading::FromTheZenith => {
            found.in_words = "elevations are counted from the zenith".to_owned();
            found.confirm = "Drive the dish up: the reading must grow.".to_owned();
            found.mend =
                "Log 90 deg less the reading, or reverse the encoder's direction and set its zero."
                    .to_owned();
            found.otherwise = "An encoder whose zero is 90 deg off, on a dish that is driven over \
                               the top, gives the same readings."
                .to_owned();
        }
        _ => {}
    }
    found
}

/// Readings that are computed positions.
pub fn of_computed(explanation: &Explanation, computed: &ComputedPositions) -> Finding {
    let peaks = explanation.session.peaks.len();
    let evidence = format!(
        "the {peaks} readings equal the computed {} directions of the emitters to {} deg rms: \
         they are computed positions and not what the encoders showed at a peak",
        if computed.airless {
            "airless"
        } else {
            "apparent"
        },
        number::two_digits(computed.rms.degrees())
    );
    Finding {
        headline: "The readings are computed positions, not encoder readings".to_owned(),
        size: Some(computed.rms.degrees()),
        size_unit: "deg".to_owned(),
        sigma: Some(0.0),
        strength: f64::INFINITY,
        // Each coordinate agrees a hundred times better than on any mount before a solve.
        ..finding(
            explanation.session.kind(),
            Fault::ColumnsExchanged,
            FaultAxis::Both,
            0.01_f64.powi(2 * peaks.min(10) as i32),
            evidence,
        )
    }
}

/// Backlash that shows as two resting positions.
pub fn of_two_places(mount: Kind, two: &TwoPlaces) -> Finding {
    let said = measured(two.apart.degrees(), two.sigma.degrees(), "deg");
    let fault = match two.axis {
        FaultAxis::Azimuth => Fault::AzimuthBacklash,
        _ => Fault::ElevationBacklash,
    };
    let axis = two.axis.words_on(mount);
    let column = match two.axis {
        FaultAxis::Azimuth => mount.axes()[0].key(),
        _ => mount.axes()[1].key(),
    };
    Finding {
        headline: format!("The {axis} axis has {said} of play"),
        size: Some(two.apart.degrees()),
        size_unit: "deg".to_owned(),
        sigma: Some(two.sigma.degrees()),
        strength: surprise(two.p_value),
        ..finding(
            mount,
            fault,
            two.axis,
            two.p_value,
            format!(
                "the peaks form two groups {said} apart in {axis}, as play does when the side of \
                 arrival is not logged; p-value {}. Log {column}_approach and the play is corrected",
                number::probability(two.p_value)
            ),
        )
    }
}

/// -2 ln of a probability, limited to a finite value: ranks findings that have no information
/// criterion.
fn surprise(probability: f64) -> f64 {
    -2.0 * probability.max(1e-12).ln()
}

/// A loose joint.
pub fn of_scatter(mount: Kind, joint: &LooseJoint) -> Finding {
    let place = match joint.worst {
        Worst::Azimuth(at) => format!(
            "toward {} reading {:.0} deg",
            mount.axes()[0].words(),
            at.degrees()
        ),
        Worst::High => "high up".to_owned(),
        Worst::Low => "low down".to_owned(),
    };
    let evidence = format!(
        "peaks scatter by {} deg in {} {place} and by {} deg in the other half; p-value {}, \
         corrected for 6 kinds of dependence tested",
        number::two_digits(joint.loud.degrees()),
        joint.axis.words_on(mount),
        number::two_digits(joint.quiet.degrees()),
        number::probability(joint.p_value)
    );
    Finding {
        headline: format!(
            "Something is loose: the scatter is {} times as large {place}",
            number::two_digits(joint.ratio)
        ),
        size: Some(joint.ratio),
        size_unit: "times".to_owned(),
        sigma: Some(joint.sigma),
        strength: surprise(joint.p_value),
        subject: Subject::Scatter {
            axis: joint.axis,
            by_azimuth: matches!(joint.worst, Worst::Azimuth(_)),
        },
        ..finding(
            mount,
            Fault::LooseJoint,
            joint.axis,
            joint.p_value,
            evidence,
        )
    }
}

/// A north that may have been set by compass, where too many other zeros would agree as well.
pub fn hint_of_compass(compass: &Compass) -> String {
    format!(
        "the azimuth zero ({:+.2} deg) agrees with the magnetic declination ({:+.2} deg): north may \
         have been taken from a compass, though so small a zero agrees by chance with probability \
         {}",
        compass.zero.degrees(),
        compass.declination.value.degrees(),
        number::two_digits(compass.p_value)
    )
}

/// North set by compass.
pub fn of_compass(compass: &Compass) -> Finding {
    let zero = compass.zero.degrees();
    let declination = compass.declination.value.degrees();
    let evidence = format!(
        "the azimuth zero is {zero:+.2} deg, and the magnetic declination at the site on that day \
         {declination:+.2} +/- {:.2} deg (World Magnetic Model): an encoder set to zero along a \
         compass needle would show just that; any other zero agrees as well with \
         probability {}. This is a hint, not proof",
        compass.declination.sigma.degrees(),
        number::probability(compass.p_value)
    );
    Finding {
        size: Some(zero),
        size_unit: "deg".to_owned(),
        sigma: Some(compass.sigma.degrees()),
        strength: surprise(compass.p_value),
        subject: Subject::Compass(compass.declination.value),
        ..finding(
            Kind::AzEl,
            Fault::MagneticNorth,
            FaultAxis::Azimuth,
            compass.p_value,
            evidence,
        )
    }
}
