//! What a pointing error costs.

use crate::angle::Angle;

/// Signal lost in dB when a beam of half-power width `beamwidth` points `offset` off:
/// 12 (offset/beamwidth)^2, the Gaussian beam (common practice, no source). At half a
/// beamwidth it gives 3 dB. Beyond about one beamwidth a real beam has nulls and sidelobes,
/// and the number only says "lost".
pub fn loss_db(offset: Angle, beamwidth: Angle) -> f64 {
    12.0 * (offset / beamwidth).powi(2)
}

/// The loss in words: a number, or that the beam is off the emitter.
pub fn loss_in_words(db: f64) -> String {
    // One beamwidth off.
    if db > 12.0 {
        "off the beam altogether".to_owned()
    } else if db < 0.005 {
        "under 0.01 dB".to_owned()
    } else {
        format!("{db:.2} dB")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_beamwidth_off_is_half_the_power() {
        let beam = Angle::from_degrees(2.0);
        assert!((loss_db(Angle::from_degrees(1.0), beam) - 3.0).abs() < 1e-12);
        assert_eq!(
            loss_in_words(loss_db(beam * 2.0, beam)),
            "off the beam altogether"
        );
    }
}
