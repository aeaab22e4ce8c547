//! Why a scan is poor or refused, and anything else unusual about it, in plain words.

use std::fmt;

use super::ScanAxis;

/// How far a scan's peak can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ScanVerdict {
    /// Can be used.
    Good,
    /// Can be used with care: its uncertainty is its weight.
    Poor,
    /// No peak, or none that can be trusted.
    Refused,
}

impl ScanVerdict {
    /// The word used in the JSON document.
    pub fn word(self) -> &'static str {
        match self {
            ScanVerdict::Good => "good",
            ScanVerdict::Poor => "poor",
            ScanVerdict::Refused => "refused",
        }
    }
}

/// One finding about a scan. Sizes are in beamwidths unless stated otherwise.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// Rows were not in time order.
    OutOfOrder {
        /// How many times the next row was earlier.
        places: usize,
    },
    /// Rows were in the log twice.
    Repeated {
        /// How many were left out.
        samples: usize,
    },
    /// The times do not advance while the mount moves.
    NoTime,
    /// The encoders stood still while the mount moved.
    Stuck {
        /// Samples left out.
        samples: usize,
    },
    /// The emitter's position at the scan's times cannot be computed.
    NoPlace(String),
    /// There are too few samples.
    TooFew {
        /// How many.
        samples: usize,
    },
    /// The beam did not move relative to the emitter.
    Still,
    /// The encoders stood still throughout, whatever the emitter did.
    Unmoved {
        /// Range of the readings.
        beams: f64,
    },
    /// The beam passed the emitter along both axes at once.
    Slanting,
    /// No signal of the beam's shape stands out from the noise, along one axis or at all.
    NoSignal {
        /// The axis whose cut shows none; `None` if the whole scan shows none.
        axis: Option<ScanAxis>,
        /// Height of the best candidate, in its own standard deviations.
        significance: f64,
    },
    /// The emitter moved away from a mount that did not follow it.
    Unfollowed {
        /// How far.
        beams: f64,
    },
    /// The signal only rises or only falls.
    OneFlank {
        /// Along which axis.
        axis: ScanAxis,
        /// How far the peak lies inside the scan; negative outside.
        inside: f64,
        /// Whether the peak lies toward larger readings.
        beyond_end: bool,
    },
    /// The peak is near the end of the scan.
    NearEnd {
        /// Along which axis.
        axis: ScanAxis,
        /// How far the peak lies inside the scan.
        inside: f64,
    },
    /// The peak is too narrow for the main lobe.
    Narrow {
        /// Over the expected width.
        ratio: f64,
    },
    /// The peak is not as wide as the beam.
    Width {
        /// Over the expected width.
        ratio: f64,
    },
    /// The peak lies far from where the other scans of the file put it.
    Displaced {
        /// How far.
        beams: f64,
        /// Its height over that of the emitter's usual peak, if that is known.
        strength: Option<f64>,
    },
    /// The top is flat.
    FlatTop {
        /// Samples that were left out.
        samples: usize,
    },
    /// The baseline changes by more than the height of the signal.
    Drift {
        /// Over the height of the signal.
        ratio: f64,
    },
    /// The residuals are not random: the signal has another shape.
    ScanShape {
        /// Rms of their smooth part over the height of the signal.
        ratio: f64,
    },
    /// There is another signal beside the peak.
    SecondSignal {
        /// Samples it covers.
        samples: usize,
        /// Its height over that of the peak.
        ratio: f64,
    },
    /// A few samples stand out.
    Spikes {
        /// How many were left out.
        samples: usize,
    },
    /// Many samples stand out.
    Interference {
        /// How many were left out.
        samples: usize,
        /// Out of how many.
        of: usize,
    },
    /// Too few samples on the peak itself.
    Gap {
        /// Along which axis.
        axis: ScanAxis,
    },
    /// Samples are missing beside the peak.
    Hole {
        /// Along which axis.
        axis: ScanAxis,
        /// How wide.
        beams: f64,
    },
    /// The position is hardly better than a guess.
    Vague {
        /// Along which axis.
        axis: ScanAxis,
        /// Its standard deviation.
        sigma: f64,
    },
    /// The residuals are correlated: sigma was raised.
    Correlated {
        /// By which factor.
        factor: f64,
    },
}

/// The rms residual of a beam's fit may be this fraction of its height; above it, the signal was
/// not a beam. Common practice, no source.
const NO_BEAM: f64 = 0.2;

/// If sigma had to be raised by more than this factor, the residuals are not receiver noise; common
/// practice, no source.
const NO_NOISE: f64 = 2.5;

/// With the peak this far outside, beyond the main lobe's edge as seen from the scan's middle (its
/// null is at 1.19 beamwidths), the scan shows a sidelobe.
const SIDELOBE_ONLY: f64 = -0.85;

/// A position whose sigma is above this, in beamwidths, is poor: centring a dish by hand is as
/// accurate.
pub(crate) const VAGUE: f64 = 0.1;

impl Reason {
    /// The verdict that follows from it.
    pub fn verdict(&self) -> ScanVerdict {
        match self {
            Reason::OutOfOrder { .. }
            | Reason::Repeated { .. }
            | Reason::Stuck { .. }
            | Reason::Spikes { .. }
            | Reason::Hole { .. } => ScanVerdict::Good,
            Reason::Correlated { factor } if *factor < NO_NOISE => ScanVerdict::Good,
            // If one axis is lost the other may still be used; without both there is no peak.
            Reason::NoSignal { axis: Some(_), .. }
            | Reason::OneFlank { .. }
            | Reason::NearEnd { .. }
            | Reason::NoTime
            | Reason::Unfollowed { .. }
            | Reason::Width { .. }
            | Reason::FlatTop { .. }
            | Reason::Drift { .. }
            | Reason::SecondSignal { .. }
            | Reason::Interference { .. }
            | Reason::Gap { .. }
            | Reason::Correlated { .. }
            | Reason::Vague { .. } => ScanVerdict::Poor,
            Reason::ScanShape { ratio } if *ratio < NO_BEAM => ScanVerdict::Poor,
            Reason::NoPlace(_)
            | Reason::ScanShape { .. }
            | Reason::TooFew { .. }
            | Reason::Still
            | Reason::Unmoved { .. }
            | Reason::Slanting
            | Reason::NoSignal { axis: None, .. }
            | Reason::Narrow { .. }
            | Reason::Displaced { .. } => ScanVerdict::Refused,
        }
    }

    /// Whether the scan's noise or baseline is unusual, so that it must not be used to judge the
    /// noise of other scans.
    pub(crate) fn distorts(&self) -> bool {
        matches!(
            self,
            Reason::FlatTop { .. }
                | Reason::Correlated { .. }
                | Reason::Drift { .. }
                | Reason::Interference { .. }
        ) || self.verdict() == ScanVerdict::Refused
            || self.doubts_emitter()
    }

    /// Whether it is a fault of the log, which is reported even for a good scan.
    pub(crate) fn is_of_the_log(&self) -> bool {
        matches!(
            self,
            Reason::OutOfOrder { .. }
                | Reason::Repeated { .. }
                | Reason::NoTime
                | Reason::Stuck { .. }
                | Reason::Hole { .. }
        )
    }

    /// Whether it leaves in doubt which emitter was peaked: such a peak is written to the peaks
    /// file with `use` set to `no`.
    pub fn doubts_emitter(&self) -> bool {
        matches!(
            self,
            Reason::Width { .. } | Reason::ScanShape { .. } | Reason::SecondSignal { .. }
        )
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let samples = |n: usize| if n == 1 { "sample" } else { "samples" };
        match self {
            Reason::OutOfOrder { places } => write!(
                f,
                "rows out of time order in {places} {}: put in order",
                if *places == 1 { "place" } else { "places" }
            ),
            Reason::Repeated { samples: n } => {
                write!(f, "{n} {} logged twice: used once", samples(*n))
            }
            Reason::Stuck { samples: n } => write!(
                f,
                "the encoders stood still for {n} {} while the log went on: left out",
                samples(*n)
            ),
            Reason::NoPlace(why) => write!(f, "the emitter has no known position then: {why}"),
            Reason::NoTime => f.write_str(
                "the times do not advance during a pass: the emitter's motion, the lag and the mid time mean nothing; log the time of each sample",
            ),
            Reason::TooFew { samples: n } => {
                write!(f, "only {n} usable {}: too few for a peak", samples(*n))
            }
            Reason::Still => f.write_str("the beam did not move against the emitter: no scan"),
            Reason::Unmoved { beams } => {
                if *beams > 0.0 {
                    write!(f, "the encoder readings hardly changed ({beams:.3} beamwidths)")?;
                } else {
                    f.write_str("the encoder readings never changed")?;
                }
                f.write_str(
                    ": a stuck encoder or a parked dish, which the log alone cannot tell apart; look at the encoders' cables and scan with the mount moving",
                )
            }
            Reason::Slanting => f.write_str(
                "the beam passed the emitter along both axes at once: scan along one axis, in a cross or in rows",
            ),
            Reason::NoSignal {
                axis: None,
                significance,
            } => write!(
                f,
                "no signal with the beam's shape stands out from the noise (the best is {significance:.1} sigma)"
            ),
            Reason::NoSignal {
                axis: Some(axis),
                significance,
            } => write!(
                f,
                "no signal with the beam's shape along {axis} (the best is {significance:.1} sigma): only the other axis was measured"
            ),
            Reason::Unfollowed { beams } => write!(
                f,
                "the emitter ran {beams:.0} beamwidths during the scan and the mount did not follow: track it and scan around it"
            ),
            Reason::OneFlank {
                axis,
                inside,
                beyond_end,
            } => {
                let end = if *beyond_end { "largest" } else { "smallest" };
                if *inside < SIDELOBE_ONLY {
                    write!(
                        f,
                        "only a sidelobe along {axis}, the main lobe was missed: it lies about {:.1} beamwidths beyond the scan's {end} reading",
                        -inside
                    )
                } else if *inside < 0.0 {
                    write!(
                        f,
                        "only one flank along {axis}: the peak lies outside the scan, about {:.1} beamwidths beyond its {end} reading",
                        -inside
                    )
                } else {
                    write!(
                        f,
                        "only one flank along {axis}: the scan ends {inside:.2} beamwidths behind the peak, at its {end} reading"
                    )
                }
            }
            Reason::NearEnd { axis, inside } => write!(
                f,
                "the scan ends {inside:.2} beamwidths from the peak along {axis}"
            ),
            Reason::Narrow { ratio } => write!(
                f,
                "the peak is only {ratio:.2} times as wide as the beam: a sidelobe, the main lobe was missed"
            ),
            Reason::Width { ratio } if *ratio > 1.0 => write!(
                f,
                "the peak is {ratio:.2} times as wide as the beam: two emitters in it, another emitter, or a wrong beamwidth in the station file"
            ),
            Reason::Width { ratio } => write!(
                f,
                "the peak is only {ratio:.2} times as wide as the beam: a sidelobe, or a wrong beamwidth in the station file"
            ),
            Reason::Displaced { beams, strength } => {
                write!(
                    f,
                    "the peak stands {beams:.1} beamwidths from where the other scans put it"
                )?;
                match strength {
                    Some(s) if *s < 0.2 => write!(
                        f,
                        " and has {:.1} % of this emitter's usual strength: a sidelobe, the main lobe was missed",
                        100.0 * s
                    ),
                    _ => f.write_str(": a sidelobe, or another emitter than the log says"),
                }
            }
            Reason::FlatTop { samples: n } => write!(
                f,
                "flat top: the receiver was saturated or its automatic gain was on ({n} {} left out, the flanks fitted)",
                samples(*n)
            ),
            Reason::Drift { ratio } => write!(
                f,
                "the baseline drifts by {ratio:.1} times the height of the signal (included in the fit)"
            ),
            Reason::ScanShape { ratio } => write!(
                f,
                "the signal does not have the beam's shape (off by {:.0} % of its height): interference, or two emitters in one beam",
                100.0 * ratio
            ),
            Reason::SecondSignal { samples: n, ratio } => write!(
                f,
                "another signal of {:.0} % of the peak's height lies next to it over {n} {}",
                100.0 * ratio,
                samples(*n)
            ),
            Reason::Spikes { samples: n } => {
                write!(f, "{n} interference spike{} left out", if *n == 1 { "" } else { "s" })
            }
            Reason::Interference { samples: n, of } => {
                write!(f, "interference in {n} of {of} samples, left out")
            }
            Reason::Gap { axis } => {
                write!(f, "a gap in the log where the peak stands along {axis}")
            }
            Reason::Hole { axis, beams } => write!(
                f,
                "a gap of {beams:.1} beamwidths in the log along {axis}, off the peak"
            ),
            Reason::Vague { axis, sigma } => write!(
                f,
                "the position along {axis} is only good to {sigma:.2} beamwidths: the signal is too weak, or too little of it was scanned"
            ),
            Reason::Correlated { factor } => write!(
                f,
                "the residuals are not pure noise: sigma was raised {factor:.1} times"
            ),
        }
    }
}
