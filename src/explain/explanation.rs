//! One explanation of a session: data without text, used by every command, page and picture.

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::logbook::TermState;
use crate::mount::{FeedOffset, MountModel, Term, TermUnit};

use super::alike::Alike;
use super::compass::Compass;
use super::evidence::Evidence;
use super::fault::{Fault, FaultAxis};
use super::hypothesis::{Hypothesis, Size};
use super::joint_fit::JointFit;
use super::log_change::LogInstant;
use super::log_change::ZeroChange;
use super::loose_joint::LooseJoint;
use super::misreading::Misreading;
use super::observe::{SkyNotice, Unusable};
use super::rivals::RivalHypothesis;
use super::row_causes::BadPeak;
use super::separability::{Advice, ToldInstead, Vague, what_would_tell};
use super::session::Session;
use super::sky_error::SkyError;
use super::start::StartingZeros;

/// The explanation of a session.
#[derive(Clone, Debug)]
pub struct Explanation {
    /// The usable peaks, with what was misread corrected.
    pub session: Session,
    /// Peaks that could not be used at all.
    pub unusable: Vec<Unusable>,
    /// Everything fitted together.
    pub fit: JointFit,
    /// The zeros from which the fit started.
    pub start: StartingZeros,
    /// How the log was misread, if it was: the explanation is then of the corrected log.
    pub misread: Option<Misread>,
    /// Set when the readings are computed positions instead of real readings.
    pub computed: Option<ComputedPositions>,
    /// The mount at the end of the log, the azimuth zero within half a turn.
    pub model: MountModel,
    /// Every term fitted, held or not determined, in the order of [`Term::ALL`].
    pub terms: Vec<TermEstimate>,
    /// Beam offsets of further feeds from that of the first.
    pub feeds: Vec<FeedEstimate>,
    /// Correlation of each pair of fitted terms.
    pub correlations: Vec<(Term, Term, f64)>,
    /// Covariance of the fit's parameters, from the noise alone.
    pub covariance: DMatrix<f64>,
    /// Rows minus the effective number of parameters.
    pub freedom: f64,
    /// Factor from the fit's sigmas to the noise of a peak.
    pub noise_factor: f64,
    /// What was found apart from the errors that every mount has.
    pub causes: Vec<Cause>,
    /// What was decided of every hypothesis, and on what evidence.
    pub decisions: Vec<Decision>,
    /// Hypotheses admitted on the way and dropped again, in order.
    pub dropped: Vec<Hypothesis>,
    /// Causes tested.
    pub tried: usize,
    /// Combinations of terms that the data do not determine.
    pub not_told: Vec<Vague>,
    /// The combinations determined instead.
    pub told_instead: Vec<ToldInstead>,
    /// Peaks that cannot belong, each with what it most likely is.
    pub bad_peaks: Vec<BadPeak>,
    /// Bad peaks that are off by the same amount.
    pub alike: Option<Alike>,
    /// Scatter that depends on the dish's direction.
    pub loose_joint: Option<LooseJoint>,
    /// Backlash that shows as two resting positions where the side of arrival was not logged.
    pub two_places: Vec<TwoPlaces>,
    /// An azimuth zero that agrees with a compass needle.
    pub compass: Option<Compass>,
    /// The expected pointing error of the corrected mount.
    pub sky_error: Option<SkyError>,
    /// What the user should know.
    pub remarks: Vec<Remark>,
}

/// Offset of a further feed's beam from that of the first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FeedEstimate {
    /// Its place among the station's feeds.
    pub feed: usize,
    /// Right and up.
    pub offset: FeedOffset,
    /// One standard deviation of each.
    pub sigma: FeedOffset,
}

/// One term's value.
#[derive(Clone, Copy, Debug)]
pub struct TermEstimate {
    /// The term.
    pub term: Term,
    /// Internal value: radians, fraction or seconds.
    pub(crate) value: f64,
    /// One standard deviation, in the same unit; `None` when held or not separable.
    pub(crate) sigma: Option<f64>,
    /// Where its value comes from.
    pub state: TermState,
    /// One standard deviation of its prior, in the same unit, where the fit used one.
    pub(crate) prior_sigma: Option<f64>,
}

impl TermEstimate {
    /// The value of a term that is an angle; `None` for a scale or the clock.
    pub fn angle(&self) -> Option<Angle> {
        (self.term.unit() == TermUnit::Angle).then(|| Angle::from_radians(self.value))
    }
    /// Its standard deviation; `None` for a scale or the clock, and for a term held or not
    /// separable.
    pub fn angle_sigma(&self) -> Option<Angle> {
        self.angle()?;
        self.sigma.map(Angle::from_radians)
    }
    /// The value in the unit of files and screens.
    pub fn shown(&self) -> f64 {
        self.term.unit().outward(self.value)
    }
    /// The standard deviation in the unit of files and screens.
    pub fn shown_sigma(&self) -> Option<f64> {
        self.sigma.map(|s| self.term.unit().outward(s))
    }
    /// One standard deviation of its prior in the unit of files and screens, where the fit used
    /// one.
    pub fn shown_prior_sigma(&self) -> Option<f64> {
        self.prior_sigma.map(|s| self.term.unit().outward(s))
    }
}

/// A cause that was found.
#[derive(Clone, Debug)]
pub struct Cause {
    /// Its number among the fit's hypotheses.
    pub index: usize,
    /// What it is.
    pub hypothesis: Hypothesis,
    /// Fitted coefficients of its columns.
    pub values: Vec<f64>,
    /// Its size.
    pub size: Size,
    /// The evidence for it, given everything else in the fit.
    pub evidence: Evidence,
    /// The probability of as strong an effect by chance, corrected for everything tested.
    pub p_value: f64,
    /// Fall of the Bayesian information criterion.
    pub bic_fall: f64,
    /// Hypotheses that explain the data about as well.
    pub rivals: Vec<RivalHypothesis>,
}

impl Cause {
    /// The fault's name.
    pub fn fault(&self) -> Fault {
        self.hypothesis.fault().unwrap_or(Fault::Unexplained)
    }
    /// When it happened, if it was a sudden change.
    pub fn instant(&self) -> Option<LogInstant> {
        self.hypothesis.instant()
    }
}

/// How a log was misread.
#[derive(Clone, Debug)]
pub struct Misread {
    /// What the log really means.
    pub misreading: Misreading,
    /// Scatter of one coordinate as logged and the number of peaks that were then bad; `None` where
    /// nothing could be fitted.
    pub as_logged: Option<(Angle, usize)>,
    /// Distance by which each peak misses as logged.
    pub misses_as_logged: Option<Vec<Angle>>,
    /// The probability that it looks so much better by chance, corrected for all readings tried.
    pub p_value: f64,
    /// Other readings that look about as good.
    pub as_good: Vec<Misreading>,
}

/// Readings that equal the computed positions of the emitters.
#[derive(Clone, Copy, Debug)]
pub struct ComputedPositions {
    /// Rms distance.
    pub rms: Angle,
    /// Whether they were computed without refraction.
    pub airless: bool,
}

/// An axis that rests in two positions.
#[derive(Clone, Copy, Debug)]
pub struct TwoPlaces {
    /// The axis.
    pub axis: FaultAxis,
    /// Distance between them: the backlash.
    pub apart: Angle,
    /// One standard deviation.
    pub sigma: Angle,
    /// The probability that a single position looks like this.
    pub p_value: f64,
}

/// The decision on a hypothesis.
#[derive(Clone, Debug)]
pub struct Decision {
    /// The hypothesis.
    pub hypothesis: Hypothesis,
    /// Whether it is fitted.
    pub fitted: bool,
    /// The grounds.
    pub grounds: Grounds,
}

/// On what grounds a hypothesis is fitted or not.
#[derive(Clone, Debug, PartialEq)]
pub enum Grounds {
    /// Every mount has a little of it: fitted always.
    Usual(Option<Numbers>),
    /// The user lists or holds it.
    Asked,
    /// By the evidence.
    Evidence(Numbers),
    /// The log does not record the sides of arrival.
    SidesNotLogged,
    /// The axis nearly always arrived from the same side.
    OneSide,
    /// These peaks cannot separate it from what is fitted.
    NotTold,
}

/// The usual numbers of a comparison of two fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Corrected for all hypotheses tested.
    pub p_value: f64,
    /// Fall of the Bayesian information criterion; positive is better with it.
    pub bic_fall: f64,
    /// RMS error of peaks predicted from the others, with it over without.
    pub cross_validation: Option<f64>,
}

/// What the user should know of an explanation.
#[derive(Clone, Debug)]
pub enum Remark {
    /// Doubts about the positions on the sky.
    Sky(SkyNotice),
    /// Peaks without a standard deviation in a log where others have one.
    SigmasMissing {
        /// How many.
        peaks: usize,
    },
    /// The scatter is larger than the logged sigmas allow: uncertainties are widened accordingly.
    ScatterContradictsLog {
        /// Times the logged standard deviations.
        scatter: f64,
        /// The probability of this by chance.
        p_value: f64,
    },
    /// The scatter is clearly smaller than the logged sigmas.
    ScatterBelowLog {
        /// Times the logged standard deviations.
        scatter: f64,
    },
    /// The peaks require another value of a held term.
    HoldContradicted {
        /// The term.
        term: Term,
        /// The held value, internal unit.
        value: f64,
        /// The data require this much more.
        off: f64,
        /// One standard deviation of that.
        sigma: f64,
    },
    /// The elevation zero is so large that the readings must mean something else.
    ElevationZeroAbsurd {
        /// The zero.
        zero: Angle,
    },
    /// A term is fitted because it belongs together with one listed.
    FittedToo {
        /// The one added.
        term: Term,
        /// The one listed.
        with: Term,
    },
    /// Droop and the cosine of the elevation runout were both listed.
    DroopHeldForRunout,
    /// Terms that are well determined only in combination.
    ToldOnlyTogether {
        /// The terms.
        terms: Vec<Term>,
        /// Scaled condition number.
        condition: f64,
        /// The observation that would separate them.
        advice: Advice,
    },
    /// Too few peaks to recognise bad ones among them.
    FewPeaks {
        /// How many.
        peaks: usize,
        /// How many are needed.
        needed: usize,
    },
    /// So many bad peaks that it is uncertain which ones are bad.
    ManyBad {
        /// Bad peaks.
        bad: usize,
        /// All peaks.
        peaks: usize,
    },
    /// Causes were searched for on a subset of the peaks, spread evenly over the log.
    ChosenOnSome {
        /// Number used.
        used: usize,
        /// Number in total.
        peaks: usize,
    },
    /// Too few coordinates to search for causes.
    NoCausesAsked,
    /// Backlash was not tested: the sides of arrival are not logged.
    SidesNotLogged,
    /// A bad peak that nothing known explains.
    UnnamedBadPeak {
        /// Its row.
        row: usize,
        /// How far off.
        off: Angle,
    },
    /// How the encoder zeros of several logs differ.
    ZerosOfLogs {
        /// Each change, and by how much it increases the reading for the same direction.
        changes: Vec<(ZeroChange, Size)>,
        /// Whether the user requested zeros for each log.
        asked: bool,
        /// The log whose zeros are in the calibration.
        last: usize,
    },
    /// A pointing error remains that a mount model cannot correct.
    NotCorrected {
        /// The cause, by its place among the causes.
        cause: usize,
    },
}

impl Explanation {
    /// Whether a peak is used, by its place in the session.
    pub fn is_used(&self, place: usize) -> bool {
        self.fit.kept[place]
    }
    /// The estimate of a term, if it has one.
    pub fn estimate(&self, term: Term) -> Option<&TermEstimate> {
        self.terms.iter().find(|t| t.term == term)
    }
    /// The observation that would best separate some terms.
    pub fn what_would_tell(&self, terms: &[Term]) -> Advice {
        what_would_tell(&self.session, &self.fit, terms)
    }
    /// The other terms with which some are determined only in combination; empty when each is
    /// determined by itself.
    pub fn told_only_together(&self, terms: &[Term]) -> Vec<Term> {
        let together = self.remarks.iter().filter_map(|r| match r {
            Remark::ToldOnlyTogether { terms: all, .. } => Some(all),
            _ => None,
        });
        together
            .filter(|all| all.iter().any(|t| terms.contains(t)))
            .flat_map(|all| all.iter().copied().filter(|t| !terms.contains(t)))
            .collect()
    }
    /// Scatter of one coordinate about the fit.
    pub fn scatter(&self) -> Angle {
        self.fit.typical_sigma() * self.noise_factor
    }
    /// Whether no cause, misreading or bad peak has a name.
    pub fn is_healthy(&self) -> bool {
        self.causes.is_empty()
            && self.misread.is_none()
            && self.computed.is_none()
            && self.loose_joint.is_none()
            && self.two_places.is_empty()
            && self.alike.is_none()
            && self.bad_peaks.iter().all(|b| b.kind.is_none())
    }
}
