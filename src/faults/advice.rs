//! What to do about each fault: how to confirm it by hand, how to repair it, and what would be seen
//! if it were something else. Trade knowledge: common practice, no source.

use crate::explain::{Fault, FaultAxis};

/// What to do about a fault.
#[derive(Clone, Copy, Debug)]
pub struct Advice {
    /// How to confirm it by hand.
    pub confirm: &'static str,
    /// How to repair it.
    pub mend: &'static str,
    /// Dangers of the work; empty when there are none.
    pub caution: &'static str,
    /// What would be seen if it were something else.
    pub otherwise: &'static str,
}

const KEEP_CLEAR: &str = "Isolate and lock off the drive's power first, and keep clear of moving \
    axes and counterweights; support the dish before any bolt is loosened. At height use proper \
    access; keep off in thunderstorms; local codes and licensed practice come first.";
const ON_THE_GROUND: &str = "Support the mount before a foot is loosened: a tall one can fall. \
    Foundations and work at height follow local codes; ask someone licensed where they say so.";
const NEAR_THE_FEED: &str = "Isolate the drive's power, switch transmitters off, and never work at \
    the feed or look along the dish while it points near the Sun: its heat burns and its light \
    blinds.";

/// What to do about a fault that shows in `axis`.
pub fn advice(fault: Fault, axis: FaultAxis) -> Advice {
    let of = |confirm, mend, caution, otherwise| Advice {
        confirm,
        mend,
        caution,
        otherwise,
    };
    match fault {
        Fault::AzimuthBacklash => of(
            "With the drive off, push the rim of the dish gently left and right: the axis moves by \
             the play before the motor does. Or peak one fixed emitter from the left and from the \
             right and compare the readings.",
            "Bring the pinion deeper into mesh, tighten the worm or the belt, or load the axis to \
             one side with a weight on a cord; until then always arrive from the same side.",
            KEEP_CLEAR,
            "A slip does not come back when the direction is reversed; an error that depends on \
             the place and not on the side of arrival is runout or a scale.",
        ),
        Fault::ElevationBacklash => of(
            "With the drive off, lift the dish's rim and let it sink: the play is felt before the \
             motor yields. Watch whether it falls to the other side as the dish passes its \
             balance.",
            "Bring the gear or the screw deeper into mesh, or make the dish clearly heavy on one \
             side, so that the play is always taken up the same way; until then always arrive \
             from the same side.",
            KEEP_CLEAR,
            "Without a counterweight near balance, gravity keeps the play on one side and no \
             backlash shows; a flip at one elevation is the balance; an error that grows \
             smoothly with elevation is droop or a loose dish.",
        ),
        Fault::BaseKnock => of(
            "Lay a good level on the base and compare with earlier notes; look at the feet, the \
             anchor bolts and the ground around them. Go back to an emitter peaked before and see \
             that its reading changed.",
            "Put the base back and tighten it, or shim it again; then solve with new peaks. Until \
             then use only a calibration made after the knock.",
            ON_THE_GROUND,
            "A pier that sinks changes slowly; a slip changes one axis everywhere alike, a knock on \
             the base changes opposite azimuths in opposite ways.",
        ),
        Fault::DishKnock => of(
            "Look at the feed, its struts and the dish's bolts for fresh marks. Go back to an emitter \
             peaked before and see that its reading changed.",
            "Put the feed or the dish back and tighten it; then solve with new peaks. Until then use \
             only a calibration made after the knock.",
            NEAR_THE_FEED,
            "A slip of the <azimuth axis> changes the azimuth everywhere alike; a beam that moved to \
             one side changes it more the higher the dish points.",
        ),
        Fault::Unexplained => of(
            "Look at the picture: where is it largest, and what on the mount repeats as often? Take \
             peaks where it should be largest and smallest, and see whether it comes again.",
            "Nothing can be mended until its cause is known. Keep the picture, look for a part that turns \
             or passes as often, and measure again after each change.",
            "",
            "The pattern is real, but no cause on the list produces it.",
        ),
        Fault::AzimuthSlip | Fault::ElevationSlip => of(
            "Go back to an emitter peaked before the jump: its reading has changed by the size \
             given. Paint a line across the coupling, the clamp or the belt and see whether it \
             breaks; for a stepper listen for stalling in wind or when starting fast.",
            "Tighten the grub screw, the clamp or the belt; for a stepper accelerate more \
             gently, give it more current or a lower top speed; then set the encoder zero again and \
             solve with the peaks after the jump only.",
            KEEP_CLEAR,
            "Slow change is creep or heat; a change that comes back with the direction of \
             arrival is backlash; one at certain azimuths only is a bad tooth.",
        ),
        Fault::Creep => of(
            "Leave the dish pointed at a fixed emitter for hours without driving: the signal falls \
             although the encoder stands still. Paint lines across clamps and couplings.",
            "Tighten the clamp or the brake, degrease the friction surfaces, or add a dowel; \
             check that the encoder is fixed to the axis and not to the motor.",
            KEEP_CLEAR,
            "Heat comes back in the evening; a sinking pier changes the tilt, so opposite azimuths \
             err in opposite ways; a slip happens at once.",
        ),
        Fault::ThermalDrift => of(
            "Log the temperature, and peak one fixed emitter at dawn, at noon and after sunset: \
             the reading follows the temperature and comes back.",
            "Shade or paint white whatever the Sun heats on one side (pier, struts, feed legs); \
             let air pass; or log temperature_c and correct by it.",
            NEAR_THE_FEED,
            "Creep does not come back when it cools; a leaning pier changes with azimuth.",
        ),
        Fault::AzimuthRunout | Fault::ElevationRunout => of(
            "Turn the axis slowly with a dial gauge on the gear's or the encoder ring's rim: it \
             rises and falls once per turn. Half of that over the radius is the angle.",
            "Centre the gear or the encoder ring on the axis; two reading heads opposite each \
             other cancel it; or keep the term in the correction table, which serves as well.",
            KEEP_CLEAR,
            "Twice per turn is <track or bearing>; an error that grows with the reading \
             is a scale; in elevation droop has the same form but for its phase.",
        ),
        Fault::WarpedTrack => of(
            "Lay a good level on the turning part, turn in steps of 30 deg and note its reading: \
             a lean comes once per turn, a warp twice or three times.",
            "Shim the track or the bearing ring under its low places; tighten all its bolts to the \
             same torque; or keep the term in the correction table.",
            ON_THE_GROUND,
            "Once per turn is a leaning axis, which the tilt takes up; an error in azimuth only is \
             the gear or the encoder.",
        ),
        Fault::ToothError => of(
            "Peak a fixed emitter, step the axis by a quarter of a tooth at a time over two teeth \
             with the emitter moving or a gauge on the rim: the error repeats with each tooth or \
             each turn of the pinion. Look at the flanks for damage and dirt.",
            "Clean the teeth; set the mesh; centre the pinion on its shaft; replace a damaged \
             gear.",
            KEEP_CLEAR,
            "With few peaks other rates fit as well, because so fast a ripple is sampled only here \
             and there: confirm before taking anything apart.",
        ),
        Fault::WrongScale => of(
            "Turn the axis by exactly one turn, against a mark: the encoder must show 360 deg. For \
             elevation use a spirit level at the horizon and at the zenith.",
            "Correct the steps per degree or the gear ratio in the controller by the fraction \
             given; for a belt or friction drive measure again under load.",
            KEEP_CLEAR,
            "An error that comes back after a turn is runout; lost steps grow with time, not with \
             the angle; readings in grads are wrong by exactly a tenth.",
        ),
        Fault::LooseJoint => of(
            "Hold the dish's rim and shake gently, pointed where the scatter is worst: something \
             clicks or gives. Note the wind: a joint loose to one side shows on that side.",
            "Find the bolt, bearing or brake that gives and tighten it; where wind is the reason, \
             measure again in calm air first.",
            KEEP_CLEAR,
            "Noise that grows where the signal is weak is the receiver's, not the mount's; trees \
             and buildings spoil peaks in their directions.",
        ),
        Fault::LooseDish => of(
            "Raise the dish from the horizon to the zenith with a hand on its rim, on the feed and \
             on the hub in turn: whatever shifts against the <elevation axis> is loose. A laser \
             pointer tied to the feed and aimed at a mark on the dish shows it too.",
            "Tighten the hub's bolts and the feed's legs; brace legs that bend.",
            NEAR_THE_FEED,
            "Droop follows the cosine of the elevation; a skew axis moves the beam sideways with \
             the sine; only what is left beyond those is the dish.",
        ),
        Fault::Settling => of(
            "Lay a level on the base in two directions now and in some hours or days: it moves by \
             the rate given.",
            "Let the footing settle before calibrating; widen or drain it; tighten anchor bolts; \
             then calibrate again.",
            ON_THE_GROUND,
            "Creep moves one axis alike at all azimuths; heat comes back in the evening.",
        ),
        Fault::Clock => of(
            "Compare the computer's clock with a time server or a satellite receiver; peak a fast \
             satellite, for which seconds matter.",
            "Set the clock and keep it by a time server; add the seconds given to the logged times \
             (--hold clock-offset=SECONDS takes them into account).",
            "",
            "A whole hour is a time zone; if one satellite alone is late its elements are old; if \
             fixed emitters are off too it is not the clock.",
        ),
        Fault::TimeZone => of(
            "Look at the logging program's clock: does it show UTC? Compare one time in the log \
             with a note made by hand.",
            "Add the hours given to the times, or write the zone's offset behind them \
             (2026-04-04T07:00:00+02:00), and set the logger to UTC.",
            "",
            "Seconds or minutes are the clock; a wrong longitude moves Sun, Moon and stars in the \
             same way, but not satellites and beacons.",
        ),
        Fault::LongitudeSign => of(
            "Look the site up on a map: longitudes west of Greenwich are negative here.",
            "Change the sign of longitude_deg in the station file.",
            "",
            "A time-zone error moves Sun, Moon and stars alike; satellites and beacons tell the two \
             apart.",
        ),
        Fault::SiteSwapped => of(
            "Look the site up on a map.",
            "Exchange latitude_deg and longitude_deg in the station file.",
            "",
            "A wrong sign leaves one of the two right.",
        ),
        Fault::AzimuthReversed => of(
            "Drive the dish <clockwise>: the <azimuth> reading must grow.",
            "Swap the encoder's or the motor's direction, or change the sign of <azimuth_>deg and of \
             <azimuth_>approach in the log.",
            KEEP_CLEAR,
            "A wrong north alone shifts all azimuths alike and is not a fault.",
        ),
        Fault::MagneticNorth => of(
            "Ask how north was found. Sight the Sun's shadow of a plumb line at local noon, or a \
             surveyed mark: true north differs from the needle's by the declination.",
            "Set the <azimuth> encoder by the <azimuth> zero found here; it is right whatever was \
             taken as north.",
            "Never look at the Sun, with or without a sight.",
            "Any other mistake in setting the zero could by chance be as large: this is a hint, \
             and the correction is the same.",
        ),
        Fault::WrongEmitter => of(
            "Point the dish by the corrected model at both emitters in turn and compare their \
             frequency, strength and modulation.",
            "Correct the name in those rows, or leave them out with use = no.",
            "",
            "A sidelobe lies one to two and a half beamwidths off in any direction; old elements \
             put a satellite early or late on its own track.",
        ),
        Fault::Sidelobe => of(
            "Scan a wide cross round the place: the main lobe is 13 to 25 dB stronger a beamwidth \
             or two away.",
            "Leave those rows out with use = no; start every peak with a search wider than three \
             beamwidths.",
            "",
            "Another emitter would have no stronger lobe nearby; a wrong digit shifts one axis by \
             a round number.",
        ),
        Fault::StaleElements => of(
            "Compare with newer elements: the satellite is early or late by the seconds given.",
            "Fetch elements of about the date of the log and solve again.",
            "",
            "A wrong clock makes all satellites late alike; a wrong name puts it somewhere else \
             altogether.",
        ),
        Fault::DigitSlip => of(
            "Look at the notes or the display's photograph for those rows.",
            "Correct the digit if it can be read, else leave the rows out with use = no.",
            "",
            "A slip of the axis would stay for all later rows; another emitter or a sidelobe is \
             seldom off by a round number in one axis only.",
        ),
        Fault::WrongUnit => of(
            "Look at the controller's settings: degrees, radians, grads, mils or minutes of arc?",
            "Set the controller to decimal degrees, or convert the column.",
            "",
            "A wrong gear ratio is seldom so exact a number.",
        ),
        Fault::Refraction => of(
            "Look whether the program that shows the readings already takes refraction into \
             account: point at a low emitter and compare its shown with its computed elevation.",
            "Let only one program correct for refraction: log the bare encoder readings.",
            "",
            "Droop and an <elevation> scale change smoothly up to the zenith; refraction is only \
             felt low down.",
        ),
        Fault::ColumnsExchanged => of(
            "Compare the first row of the log with where the dish stood.",
            "Put the columns right: <azimuth_>deg and <elevation_>deg are what the mount's own encoders \
             showed at the peak, not where the emitter was computed to be.",
            "",
            match axis {
                FaultAxis::Both => {
                    "A mount without any error at all would look the same, but nobody \
                     finds peaks that exactly."
                }
                _ => {
                    "A unit or a sign that is wrong leaves <azimuth> and <elevation> in their places."
                }
            },
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mount::Kind;

    #[test]
    fn every_fault_has_all_parts_of_its_advice() {
        for fault in Fault::ALL {
            let advice = advice(fault, FaultAxis::Both);
            for text in [advice.confirm, advice.mend, advice.otherwise] {
                assert!(text.ends_with(['.', '?']), "{fault}: {text}");
                assert!(!text.contains("  "), "{fault}: {text}");
            }
        }
    }

    #[test]
    fn the_docs_page_contains_the_same_advice() {
        let page = include_str!("../../docs/faults.md");
        for fault in Fault::ALL {
            let advice = advice(fault, FaultAxis::Both);
            let heading = format!("### {fault}: {}\n", fault.words_on(Kind::AzEl));
            let said = [
                &heading,
                advice.confirm,
                advice.mend,
                advice.caution,
                advice.otherwise,
            ];
            for marked in said {
                let text = Kind::AzEl.said(marked);
                assert!(page.contains(&text), "{fault}: {text}");
                // Every placeholder is one that the kinds of mount fill in.
                let polar = Kind::Polar(crate::mount::Pole::North).said(marked);
                assert!(
                    !polar.contains('<') && !text.contains('<'),
                    "{fault}: {polar}"
                );
            }
        }
    }
}
