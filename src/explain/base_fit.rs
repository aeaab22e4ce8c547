//! The fit of the mount without causes, from which an explanation starts.

use super::joint_fit::JointFit;
use super::plausibility::falls_apart;
use super::session::Session;
use super::unexplained::Unexplained;

impl Session {
    /// Start of the search for the mount without causes: the zeros that most peaks agree on.
    fn beginning(&self) -> Vec<f64> {
        self.beginning_of(&self.base)
    }

    /// The mount without causes, fitted to all peaks except those that are plainly bad; and whether
    /// the peaks are consistent with it. If they are, a search for the fit that most of them agree
    /// on would find the same, at a hundred times the cost.
    pub fn plain_fit(&self) -> Option<(JointFit, bool)> {
        self.plain_fit_from(&self.beginning())
    }

    fn plain_fit_from(&self, begin: &[f64]) -> Option<(JointFit, bool)> {
        let all = vec![true; self.peaks.len()];
        let plain = self.refit(&self.base, begin, &all, 1.0)?;
        let together = !falls_apart(self, &plain) && self.all_agree(&plain);
        Some((plain, together))
    }

    /// The mount without causes, fitted to what most peaks agree on.
    ///
    /// # Errors
    /// When the peaks do not suffice for a fit.
    pub fn robust_base_fit(&self) -> Result<JointFit, Unexplained> {
        self.robust_base_fit_from(&self.beginning())
    }

    /// The same from given values of the base terms.
    ///
    /// # Errors
    /// As [`Session::robust_base_fit`].
    pub fn robust_base_fit_from(&self, begin: &[f64]) -> Result<JointFit, Unexplained> {
        if let Some((plain, true)) = self.plain_fit_from(begin) {
            return Ok(plain);
        }
        self.robust_fit_of(&self.base, begin)
    }

    /// The mount without causes, fitted to every peak; `None` when no degrees of freedom are left
    /// to estimate the noise.
    pub fn fit_to_all(&self) -> Option<JointFit> {
        let begin = JointFit {
            hypotheses: self.base.clone(),
            columns: self.columns_of(&self.base),
            parameters: self.beginning(),
            kept: vec![true; self.peaks.len()],
            variance: 1.0,
            sigmas: self.sigmas.clone(),
            cost: 0.0,
        };
        self.refit_kept(&begin, &begin.kept)
    }

    /// Whether no peak stands out from a fit, except the few that it calls bad: if so, the robust
    /// search, which takes most of the time of a diagnosis, is not needed.
    fn all_agree(&self, plain: &JointFit) -> bool {
        /// The probability that the worst of this many good peaks stands out by chance: the usual
        /// five per cent.
        const STANDS_OUT: f64 = 0.05;
        let linearised = self.linearised(plain, &[]);
        // Of a pair of coordinates: chi-square with two degrees of freedom exceeds x with
        // probability exp(-x/2).
        let most = 2.0 * (self.peaks.len() as f64 / STANDS_OUT).ln() * plain.variance;
        (0..linearised.peaks())
            .filter(|i| plain.kept[*i])
            .all(|i| linearised.square_of(i) <= most)
    }
}
