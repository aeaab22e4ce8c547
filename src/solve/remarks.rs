//! An explanation in words.

use super::inseparable::Inseparable;
use super::words;
use crate::angle::Angle;
use crate::explain::{
    Advice, BadKind, Explanation, FaultAxis, Grounds, Hypothesis, Misreading, Numbers, Remark,
    Size, ZeroChange, unit_of, zone_of,
};
use crate::mount::{AxisKind, Group, Kind, Pole, Term, TermUnit};
use crate::number;
use crate::station::Station;

/// A value of a term with its unit.
fn shown(term: Term, value: f64) -> String {
    let unit = term.unit();
    format!(
        "{} {}",
        number::two_digits(unit.outward(value)),
        unit.symbol()
    )
    .trim_end()
    .to_owned()
}

fn names(kind: Kind, terms: &[Term]) -> String {
    words::list(&terms.iter().map(|t| kind.term_name(*t)).collect::<Vec<_>>())
}

/// A remark in words.
pub fn remark_words(remark: &Remark, explanation: &Explanation, station: &Station) -> String {
    let kind = explanation.session.kind();
    match remark {
        Remark::Sky(notice) => format!("{} ({})", notice.text, words::rows(&notice.rows)),
        Remark::SigmasMissing { peaks } => format!(
            "{peaks} peaks have no standard deviation in the log: the median of the others is used \
             for them, and the size of the noise comes from the scatter"
        ),
        Remark::ScatterContradictsLog { scatter, p_value } => format!(
            "the peaks scatter {scatter:.1} times as much as their logged standard deviations \
             (p-value {}): the uncertainties are widened by that factor",
            number::probability(*p_value)
        ),
        Remark::ScatterBelowLog { scatter } => format!(
            "the peaks scatter only {scatter:.2} times as much as their logged standard \
             deviations: those are too large, and so are the uncertainties"
        ),
        Remark::HoldContradicted {
            term,
            value,
            off,
            sigma,
        } => format!(
            "{} is {}, but the peaks call for {} more, {:.0} standard deviations: the other \
             terms are distorted to make up for it",
            kind.term_name(*term),
            match explanation.session.left_out.contains(term) {
                true => "left out".to_owned(),
                false => format!("held at {}", shown(*term, *value)),
            },
            shown(*term, *off),
            off.abs() / sigma
        ),
        Remark::ElevationZeroAbsurd { zero } if !kind.has_track() => format!(
            "the {} is {:.1} deg: either the encoder's zero really is that far off, or the dish is \
             driven over the top; check against one emitter",
            kind.group_words(Group::ElevationZero),
            zero.degrees()
        ),
        Remark::ElevationZeroAbsurd { zero } => format!(
            "the elevation zero is {:.1} deg: either the encoder's zero really is that far off, or \
             elevations are logged from the zenith (90 - elevation), or the dish is driven over the \
             top; check against one emitter",
            zero.degrees()
        ),
        Remark::FittedToo { term, with } => format!(
            "{} is fitted too: it belongs with {}",
            kind.term_name(*term),
            kind.term_name(*with)
        ),
        Remark::DroopHeldForRunout => {
            "droop and elevation-runout-cos are the same to first order: droop is held at zero"
                .to_owned()
        }
        Remark::ToldOnlyTogether {
            terms,
            condition,
            advice,
        } => format!(
            "{} are well determined only in combination, poorly one by one (condition number {condition:.0}): \
             {}",
            names(kind, terms),
            advice_words(kind, advice)
        ),
        Remark::FewPeaks { peaks, needed } => format!(
            "only {peaks} peaks: bad ones among them cannot be told reliably; log at least {needed}"
        ),
        Remark::ManyBad { bad, peaks } => format!(
            "{bad} of {peaks} peaks do not fit the rest, more than a fifth: it is not certain which \
             are the bad ones, so trust nothing here until you have checked them"
        ),
        Remark::ChosenOnSome { used, peaks } => format!(
            "causes were looked for on {used} of the {peaks} peaks, taken evenly over the log; the \
             fit uses all"
        ),
        Remark::NoCausesAsked => {
            "too few peaks to look for causes: only the usual mount errors are fitted".to_owned()
        }
        Remark::SidesNotLogged => {
            let [one, two] = kind.axes().map(AxisKind::key);
            format!(
                "backlash was not looked for: the log does not say from which side the axes arrived \
                 ({one}_approach, {two}_approach); what is expected of the pointing holds while they \
                 arrive as they did then"
            )
        }
        Remark::UnnamedBadPeak { row, off } => format!(
            "row {row} is bad (off by {:.2} deg) and no known mistake explains it",
            off.degrees()
        ),
        Remark::ZerosOfLogs {
            changes,
            asked,
            last,
        } => zeros_words(changes, *asked, *last, explanation),
        Remark::NotCorrected { cause } => {
            let name = (explanation.causes.get(*cause))
                .map_or(String::new(), |c| hypothesis_name(&c.hypothesis, station));
            format!(
                "{name} cannot be corrected by the mount model: it stays in the expected pointing \
                 error until it is mended"
            )
        }
    }
}

/// Differences of the encoder zeros of several logs, in words.
fn zeros_words(
    changes: &[(ZeroChange, Size)],
    asked: bool,
    last: usize,
    explanation: &Explanation,
) -> String {
    let name = |log: usize| explanation.session.log_name(log);
    let logs = explanation.session.logs.len();
    if changes.is_empty() {
        return format!(
            "the {logs} logs are taken with the same encoder zeros: the data call for no others"
        );
    }
    let mut pairs: Vec<(usize, usize)> = changes.iter().map(|(c, _)| c.logs).collect();
    pairs.sort_unstable();
    pairs.dedup();
    let said: Vec<String> = (pairs.into_iter())
        .map(|logs| {
            let axes: Vec<String> = (changes.iter())
                .filter(|(change, _)| change.logs == logs)
                .map(|(change, size)| {
                    format!(
                        "the {} reading by {:+.3} +/- {} deg",
                        change.axis.words_on(explanation.session.kind()),
                        size.value,
                        number::two_digits(size.sigma)
                    )
                })
                .collect();
            format!(
                "from {} to {} {}",
                name(logs.0),
                name(logs.1),
                axes.join(" and ")
            )
        })
        .collect();
    format!(
        "{}; for the same direction there changes, {}. The zeros of the calibration are \
         those of the last log, {}",
        match asked {
            true => "each log has its own encoder zeros, as requested",
            false => "the data call for encoder zeros that differ between the logs",
        },
        said.join("; "),
        name(last)
    )
}

/// The observation that would help, in words.
pub fn advice_words(kind: Kind, advice: &Advice) -> String {
    match advice {
        Advice::BothSides => {
            "arrive at the same emitters from both sides and log the approach columns".to_owned()
        }
        Advice::FastEmitter => "peak an emitter that moves fast: an orbiting satellite".to_owned(),
        Advice::TwoPeaks { at, terms, sigma } => {
            let unit = terms.first().map_or(TermUnit::Angle, |t| t.unit());
            format!(
                "two peaks near azimuth {:.0} deg, elevation {:.0} deg would help most: {} would \
                 then be known to about {} {}",
                at.azimuth().degrees(),
                at.elevation().degrees(),
                names(kind, terms),
                number::two_digits(unit.outward(*sigma)),
                match unit {
                    TermUnit::Fraction => "(fraction)",
                    other => other.symbol(),
                }
            )
        }
        Advice::None => "no single direction would help".to_owned(),
    }
}

/// Terms that cannot be separated, what is determined instead, and what would help.
pub fn inseparable(explanation: &Explanation) -> Vec<Inseparable> {
    let kind = explanation.session.kind();
    let arc = one_declination(explanation);
    let told: Vec<String> = (explanation.told_instead.iter())
        .map(|t| {
            let unit = t.term.unit();
            let parts: Vec<String> = (t.with.iter())
                .map(|(left, share)| format!("{share:+.2} x {}", kind.term_name(*left)))
                .collect();
            format!(
                "{} {} = {:.4} +/- {:.4} {}",
                kind.term_name(t.term),
                parts.join(" "),
                unit.outward(t.value),
                unit.outward(t.sigma),
                unit.symbol()
            )
        })
        .collect();
    (explanation.not_told.iter().enumerate())
        .map(|(i, vague)| {
            // What is determined instead is a single statement about all held terms.
            let told = match told.is_empty() || i > 0 {
                true => String::new(),
                false => format!(". What is known: {}", told.join("; ")),
            };
            let named: Vec<Term> = vague.shares.iter().map(|(t, _)| *t).collect();
            let held = names(kind, &vague.held);
            let meaning = match named.as_slice() {
                [one] => format!(
                    "these peaks do not determine {}; it is held at zero{told}",
                    kind.term_name(*one)
                ),
                _ => format!(
                    "{} have the same effect on these peaks and cannot be told apart; {held} {} \
                     held at zero{told}",
                    names(kind, &named),
                    if vague.held.len() == 1 { "is" } else { "are" },
                ),
            };
            Inseparable {
                terms: vague.shares.clone(),
                meaning,
                remedy: match &arc {
                    Some(arc) if vague.held.iter().any(|t| OF_THE_ARC.contains(t)) => {
                        format!("{}. {arc}", advice_words(kind, &vague.advice))
                    }
                    _ => advice_words(kind, &vague.advice),
                },
            }
        })
        .collect()
}

/// Terms that appear only as one sum on a single circle of declination.
const OF_THE_ARC: [Term; 3] = [Term::AzimuthZero, Term::Collimation, Term::AxisSkew];

/// The text when all peaks of a polar mount are at one declination, like those of the geostationary
/// arc or of the Sun on one day.
fn one_declination(explanation: &Explanation) -> Option<String> {
    /// Within this range of declinations the sum hardly changes: the cosine of a declination
    /// changes by a hundredth.
    const NARROW: Angle = Angle::from_degrees(12.0);
    let Kind::Polar(pole) = explanation.session.kind() else {
        return None;
    };
    let geometry = &explanation.session.geometry;
    let declinations = (explanation.session.peaks.iter().zip(&explanation.fit.kept))
        .filter(|(_, kept)| **kept)
        .map(|(peak, _)| {
            // Along the mount's own axis, which points to the pole above the horizon.
            let up = geometry.to_mount(&peak.sighting.target).z;
            let size = up.clamp(-1.0, 1.0).asin().to_degrees();
            if pole == Pole::South { -size } else { size }
        });
    let (low, high) = declinations.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| {
        (low.min(d), high.max(d))
    });
    (high - low < NARROW.degrees()).then(|| {
        format!(
            "All these peaks lie at declinations from {low:.0} to {high:.0} deg, as those of the \
             geostationary arc or of one day's Sun do: for emitters there the sum is all that is \
             needed, and only a peak at another declination, of a low satellite for example, tells \
             its parts"
        )
    })
}

/// Name of a hypothesis.
pub fn hypothesis_name(hypothesis: &Hypothesis, station: &Station) -> String {
    let kind = station.mount.kind();
    let axis = hypothesis.axis().words_on(kind);
    match hypothesis {
        Hypothesis::Terms(terms) => match terms.first().map(|t| t.group()) {
            Some(group) => kind.group_words(group).to_owned(),
            None => String::new(),
        },
        Hypothesis::BalanceFlip { .. } => format!("{axis} play that flips at the balance"),
        Hypothesis::Slip { .. } => format!("{axis} slip"),
        Hypothesis::LogZero(change) => format!(
            "{axis} zero changed between logs {} and {}",
            change.logs.0 + 1,
            change.logs.1 + 1
        ),
        Hypothesis::Feed(feed) => match station.feeds.get(*feed) {
            Some(feed) => format!("feed {}", feed.name),
            None => "a further feed".to_owned(),
        },
        Hypothesis::BaseKnock(_) => "knock on the base".to_owned(),
        Hypothesis::DishKnock(_) => "knock on the dish".to_owned(),
        Hypothesis::Creep { .. } => format!("{axis} creep"),
        Hypothesis::Temperature { .. } => format!("{axis} drift with the temperature"),
        Hypothesis::DayCycle(_) => format!("{axis} drift with the time of day"),
        Hypothesis::WarpThrice => "track warp three times per turn".to_owned(),
        Hypothesis::Teeth { pinion: false, .. } => format!("{axis} gear teeth"),
        Hypothesis::Teeth { .. } => format!("{axis} pinion"),
        Hypothesis::Ripple { per_turn, .. } => format!("{axis} ripple {per_turn} times per turn"),
        Hypothesis::Pattern { with, times, .. } => {
            format!(
                "pattern in {axis} {times} times per turn of {}",
                with.words_on(kind)
            )
        }
        Hypothesis::LooseDish(FaultAxis::Azimuth) => "dish that yields sideways".to_owned(),
        Hypothesis::LooseDish(_) => "dish that yields up and down".to_owned(),
        Hypothesis::Flop { .. } => "dish that flops over".to_owned(),
        Hypothesis::Lag { .. } => format!("{axis} lag of the scans"),
        Hypothesis::Settling { .. } => "settling pier".to_owned(),
        Hypothesis::Stale { emitter } => format!(
            "stale elements of {}",
            (station.emitters.get(*emitter)).map_or("a satellite", |e| e.name.as_str())
        ),
        Hypothesis::Air { times } => match times {
            0.0 => "refraction left out".to_owned(),
            _ => "refraction twice".to_owned(),
        },
        Hypothesis::Relabelled { really, .. } => format!("peaks that were {really}"),
        Hypothesis::Grads(_) => format!("{axis} in grads"),
    }
}

/// The grounds of a decision in words.
pub fn grounds_words(grounds: &Grounds) -> String {
    let numbers = |n: &Numbers| {
        let cross = n.cross_validation.map_or(String::new(), |ratio| {
            format!(", cross-validation error {ratio:.2} of that without")
        });
        format!(
            "p-value {}, BIC {} by {:.1}{cross}",
            number::probability(n.p_value),
            if n.bic_fall > 0.0 { "better" } else { "worse" },
            n.bic_fall.abs()
        )
    };
    match grounds {
        Grounds::Usual(None) => "every mount has a little: always fitted".to_owned(),
        Grounds::Usual(Some(n)) => {
            format!("every mount has a little: always fitted; {}", numbers(n))
        }
        Grounds::Asked => "asked for".to_owned(),
        Grounds::Evidence(n) => numbers(n),
        Grounds::SidesNotLogged => {
            "not tried: the log does not say from which side the axis arrived".to_owned()
        }
        Grounds::OneSide => {
            "not tried: the axis nearly always arrived from the same side".to_owned()
        }
        Grounds::NotTold => "not tried: these peaks cannot tell it from the other terms".to_owned(),
    }
}

/// How far off a bad peak is, and its most likely cause.
pub fn bad_peak_words(explanation: &Explanation, place: usize) -> String {
    let Some(bad) = (explanation.bad_peaks.iter()).find(|b| b.index == place) else {
        return "does not fit the rest".to_owned();
    };
    let mount = explanation.session.kind();
    let kind = (bad.kind.as_ref()).map_or(String::new(), |k| format!(": {}", kind_words(mount, k)));
    format!(
        "misses by {:.3} deg, {:.0} times its noise{kind}",
        bad.off.size().degrees(),
        bad.deviations
    )
}

/// The most likely cause of a bad peak.
pub fn kind_words(mount: Kind, kind: &BadKind) -> String {
    match kind {
        BadKind::Emitter { really, .. } => format!("the beam was on {really}"),
        BadKind::Sidelobe { beamwidths } => {
            format!("{beamwidths:.1} beamwidths off, as the peak of a sidelobe is")
        }
        BadKind::Digit {
            axis,
            by,
            exchanged,
        } => format!(
            "{} of the {} reading {} wrong, by {:+} deg",
            if *exchanged {
                "two exchanged digits"
            } else {
                "one digit"
            },
            axis.words_on(mount),
            if *exchanged { "seem" } else { "seems" },
            (by.degrees() * 100.0).round() / 100.0
        ),
        BadKind::Unit { axis, unit } => {
            format!(
                "the reading of {} fits when taken as {unit}",
                axis.words_on(mount)
            )
        }
        BadKind::Exchanged => {
            let [one, two] = mount.axes().map(AxisKind::words);
            format!("it fits with {one} and {two} exchanged")
        }
    }
}

/// Meaning of another reading of the log: `all times 2 h later`.
pub fn misreading_words(misreading: &Misreading, station: &Station) -> String {
    let site = &station.site;
    let kind = station.mount.kind();
    let [one, two] = kind.axes().map(AxisKind::words);
    let degrees = |a: Angle| format!("{:+.4}", a.degrees());
    match misreading {
        Misreading::Hours(hours) => format!("{hours:+} h added to all times"),
        Misreading::LongitudeSign => format!("a longitude of {} deg", degrees(-site.longitude)),
        Misreading::LatitudeSign => format!("a latitude of {} deg", degrees(-site.latitude)),
        Misreading::SiteSwapped => format!(
            "latitude {} and longitude {} deg",
            degrees(site.longitude),
            degrees(site.latitude)
        ),
        Misreading::AzimuthReversed => format!("the sign of every {one} reading changed"),
        Misreading::Exchanged => format!("the {one} and {two} columns exchanged"),
        Misreading::FromTheZenith => {
            "elevations taken as counted from the zenith (90 - elevation)".to_owned()
        }
        Misreading::Unit { axis, unit, .. } => {
            format!("the readings of {} taken as {unit}", axis.words_on(kind))
        }
        Misreading::PointedMinutes(axis) => format!(
            "the readings of {} taken as degrees and, behind the point, minutes of arc",
            axis.words_on(kind)
        ),
    }
}

/// What is wrong with the log as a whole, with the correction.
pub fn misread_words(explanation: &Explanation, station: &Station) -> Option<String> {
    if let Some(computed) = explanation.computed {
        return Some(format!(
            "The readings are computed {} positions of the emitters, not what the encoders showed \
             at a peak: they say nothing about the mount. Log the encoder readings.",
            if computed.airless {
                "airless"
            } else {
                "apparent"
            }
        ));
    }
    let Some(misread) = &explanation.misread else {
        return misread_by_a_cause(explanation);
    };
    let kind = station.mount.kind();
    let [one, two] = kind.axes().map(AxisKind::words);
    let cure = match &misread.misreading {
        Misreading::Hours(hours) => format!(
            "the times are in another time zone: add {hours:+} h, or write times with their \
             offset from UTC"
        ),
        Misreading::LongitudeSign => {
            "change the sign of longitude_deg in the station file (east is positive)".to_owned()
        }
        Misreading::LatitudeSign => {
            "change the sign of latitude_deg in the station file (north is positive)".to_owned()
        }
        Misreading::SiteSwapped => {
            "exchange latitude_deg and longitude_deg in the station file".to_owned()
        }
        Misreading::AzimuthReversed => format!("the {one} counts the wrong way round"),
        Misreading::Exchanged => format!("exchange the {one} and {two} columns of the log"),
        Misreading::FromTheZenith => {
            "log the elevation from the horizon, 90 deg less what is written now (or else the \
             encoder's zero is some 90 deg off and the dish is driven over the top)"
                .to_owned()
        }
        Misreading::Unit { axis, unit, .. } => {
            format!(
                "turn the readings of {} from {unit} into degrees",
                axis.words_on(kind)
            )
        }
        Misreading::PointedMinutes(axis) => format!(
            "turn the readings of {} from degrees and minutes into decimal degrees",
            axis.words_on(kind)
        ),
    };
    Some(format!(
        "The log fits only with {}. Correct that first: {cure}; then solve again. The numbers here \
         are those of the log corrected that way.",
        misreading_words(&misread.misreading, station)
    ))
}

/// A clock offset of a whole time zone, or a scale error that matches another unit: causes of the
/// fit that mean the log was misread.
fn misread_by_a_cause(explanation: &Explanation) -> Option<String> {
    explanation.causes.iter().find_map(|cause| {
        let axis = cause.hypothesis.axis().words_on(explanation.session.kind());
        let what = match (&cause.hypothesis, cause.hypothesis.group()) {
            (_, Some(Group::ClockOffset)) => {
                let hours = zone_of(cause.size.value)?;
                format!("{hours:+} h added to all times: write them with their offset from UTC")
            }
            (_, Some(Group::AzimuthScale | Group::ElevationScale)) => {
                let (unit, _) = unit_of(cause.size.value, cause.size.sigma)?;
                format!("the readings of {axis} taken as {unit}: log degrees")
            }
            (Hypothesis::Grads(_), _) => {
                format!("the readings of {axis} taken as grads: log degrees")
            }
            _ => return None,
        };
        Some(format!(
            "The log fits only with {what}. Correct that first, then solve again. The numbers here \
             are those of the log corrected that way."
        ))
    })
}
