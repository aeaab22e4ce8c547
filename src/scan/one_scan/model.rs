//! The modelled signal of a scan: baselines plus a beam, with derivatives.
//!
//! With the power w of each point, its standard deviation s, the baseline columns c with
//! coefficients b, and the height h of the beam's response R at the emitter's distance (x, y) from
//! beam centre in units of the beamwidth, the fit minimises
//!
//! ```text
//! sum ( (w_i - sum_k b_k c_k,i - h R(x_i, y_i; width)) / s_i )^2 + (ln(width / expected) / 0.5)^2
//! ```
//!
//! The nonlinear parameters are the encoder offsets, one for each group of passes along an axis
//! that share direction and speed (lag or backlash makes the groups differ), and the width; in
//! rasters also the beam's ellipticity. Heights and baselines enter linearly.

use std::ops::Range;

use super::beam::Beam;
use super::beam_frame::{PlaneRotation, in_beam};
use super::point::ScanPoint;
use crate::fit::{Block, Model, Stretch, Unevaluable};
use crate::scan::ScanAxis;

/// Which azimuth or elevation offset applies to a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Slot {
    /// The offset of one group of passes.
    Group(usize),
    /// The mean of all groups of the axis, or the assumed offset if it has none.
    Mean,
}

/// How one axis enters the model.
#[derive(Clone, Debug)]
pub(crate) struct AxisLayout {
    /// Number of groups, each with an offset to fit; zero if the axis is not measured.
    pub groups: usize,
    /// Offset (encoder less sky), radians, to which the fitted ones are relative.
    pub reference: f64,
    /// Radians of the axis per unit of a parameter, which is one beamwidth on the sky.
    pub unit: f64,
}

/// What is common to the points of a pass, or to all points if passes make no difference.
#[derive(Clone, Debug)]
pub(crate) struct Part {
    pub points: Range<usize>,
    pub azimuth: Slot,
    pub elevation: Slot,
    /// Index of its height.
    pub height: usize,
}

/// A value for each point of a range, zero for all others.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    from: usize,
    values: Vec<f64>,
}

impl Column {
    /// A column whose values begin at point number `from`.
    pub fn new(from: usize, values: Vec<f64>) -> Column {
        Column { from, values }
    }
    /// The value at point `i`.
    #[inline]
    pub fn at(&self, i: usize) -> f64 {
        let place = i.wrapping_sub(self.from);
        self.values.get(place).copied().unwrap_or(0.0)
    }
    /// Whether it may be nonzero at any of the points.
    fn touches(&self, points: &Range<usize>) -> bool {
        self.from < points.end && points.start < self.from + self.values.len()
    }
}

/// An additional column, for an effect that the model leaves out, to test it or to apply a prior to
/// it.
#[derive(Clone, Debug)]
pub(crate) enum Extra {
    /// A baseline column.
    Column(Column),
    /// A height that changes along the scan: the beam's response times a value for each point.
    Height(Column),
    /// A width that changes along the scan: its logarithm times a value for each point.
    Width(Column),
    /// The offset of an axis that is not measured, in beamwidths.
    Unmeasured(ScanAxis),
    /// Offsets of both axes that change along the scan, in beamwidths, for each point.
    Offsets(Vec<(f64, f64)>),
}

impl Extra {
    /// Whether it may change the model at any of the points.
    fn touches(&self, points: &Range<usize>) -> bool {
        match self {
            Extra::Column(column) | Extra::Height(column) | Extra::Width(column) => {
                column.touches(points)
            }
            Extra::Unmeasured(_) | Extra::Offsets(_) => true,
        }
    }
    /// The derivative of the power of point `i` with respect to it.
    fn slope(&self, i: usize, at: &Modelled) -> f64 {
        let h = at.height;
        match self {
            Extra::Column(column) => column.at(i),
            Extra::Height(column) => h * at.response * column.at(i),
            Extra::Width(column) => h * at.by_width * column.at(i),
            Extra::Unmeasured(ScanAxis::Azimuth) => h * at.by_azimuth,
            Extra::Unmeasured(ScanAxis::Elevation) => h * at.by_elevation,
            Extra::Offsets(offsets) => {
                h * (at.by_azimuth * offsets[i].0 + at.by_elevation * offsets[i].1)
            }
        }
    }
}

/// A point's readings as rotations.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Turned {
    /// From the azimuth reading to the emitter.
    across: PlaneRotation,
    /// The elevation reading.
    up: PlaneRotation,
}

impl Turned {
    /// The rotations of each point.
    pub fn of(points: &[ScanPoint]) -> Vec<Turned> {
        let one = |p: &ScanPoint| Turned {
            across: PlaneRotation::new(p.emitter.azimuth - p.azimuth),
            up: PlaneRotation::new(p.elevation),
        };
        points.iter().map(one).collect()
    }
}

/// Values that follow from the parameters and are the same for all points of a part.
pub(crate) struct Setting<'m> {
    /// Rotation that the azimuth offset adds to the turn toward the emitter.
    azimuth: PlaneRotation,
    /// Rotation that the elevation offset adds to the elevation reading.
    elevation: PlaneRotation,
    height: f64,
    /// The baseline columns that cover the part, each with its number and coefficient.
    baseline: Vec<(usize, &'m Column, f64)>,
    /// One over the width.
    scale: f64,
    /// Radius of the emitter's disc over the width.
    radius: f64,
    /// The squared distance from beam centre is xx x^2 + yy y^2 + 2 xy x y.
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Setting<'_> {
    /// The baseline columns at point `i`, each as its number and value.
    pub fn columns(&self, i: usize) -> impl Iterator<Item = (usize, f64)> {
        let values = self
            .baseline
            .iter()
            .map(move |(k, column, _)| (*k, column.at(i)));
        values.filter(|(_, value)| *value != 0.0)
    }
}

/// The model. Angles in radians; the beam's width as twice the sine of half of it.
#[derive(Clone, Debug)]
pub(crate) struct ScanModel<'a> {
    pub points: &'a [ScanPoint],
    /// One for each point.
    pub readings: Vec<Turned>,
    /// In order, and together they cover all points.
    pub parts: Vec<Part>,
    pub azimuth: AxisLayout,
    pub elevation: AxisLayout,
    /// Expected width.
    pub width: f64,
    pub beam: Beam,
    /// Radius of the emitter's disc over the expected width.
    pub radius: f64,
    pub elliptic: bool,
    pub heights: usize,
    pub baseline: Vec<Column>,
    /// Standard deviation of each point.
    pub noise: Vec<f64>,
}

/// The model extended by columns for effects that it leaves out. Their parameters come last and are
/// evaluated at zero.
pub(crate) struct Extended<'m, 'a> {
    pub model: &'m ScanModel<'a>,
    pub extras: &'m [Extra],
}

/// Where each kind of parameter begins.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Parameters {
    pub heights: usize,
    pub baseline: usize,
    pub azimuth: usize,
    pub elevation: usize,
    /// Logarithm of the width over that expected.
    pub width: usize,
    /// With an elliptical beam: logarithm of its stretch in azimuth, and the slant.
    pub ellipse: usize,
    pub count: usize,
}

/// The modelled value at one point, in its components.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Modelled {
    pub baseline: f64,
    pub height: f64,
    pub response: f64,
    /// Derivatives of the response with respect to the two offsets, in beamwidths on the sky.
    by_azimuth: f64,
    by_elevation: f64,
    by_width: f64,
    by_ellipse: [f64; 2],
}

impl Modelled {
    pub fn power(&self) -> f64 {
        self.baseline + self.height * self.response
    }
}

impl<'a> ScanModel<'a> {
    /// The model without extra columns.
    fn alone(&self) -> Extended<'_, 'a> {
        Extended {
            model: self,
            extras: &[],
        }
    }

    pub fn layout(&self) -> Parameters {
        // Parameters that affect only some of the points come first: their rows of the triangle are
        // then computed once and not changed by later points.
        let baseline = self.heights;
        let azimuth = baseline + self.baseline.len();
        let elevation = azimuth + self.azimuth.groups;
        let width = elevation + self.elevation.groups;
        let ellipse = width + 1;
        Parameters {
            heights: 0,
            baseline,
            azimuth,
            elevation,
            width,
            ellipse,
            count: ellipse + if self.elliptic { 2 } else { 0 },
        }
    }

    /// The offsets of both axes for the points of a part, radians.
    pub fn offsets(&self, part: &Part, p: &[f64]) -> (f64, f64) {
        let layout = self.layout();
        let offset = |axis: &AxisLayout, slot: Slot, values: &[f64]| {
            let shift = match slot {
                _ if values.is_empty() => 0.0,
                Slot::Group(k) => values[k],
                Slot::Mean => values.iter().sum::<f64>() / values.len() as f64,
            };
            axis.reference + shift * axis.unit
        };
        let azimuth = &p[layout.azimuth..layout.elevation];
        let elevation = &p[layout.elevation..layout.width];
        (
            offset(&self.azimuth, part.azimuth, azimuth),
            offset(&self.elevation, part.elevation, elevation),
        )
    }

    /// Prepares the model at these parameters for the points of a part.
    pub fn setting(&self, part: &Part, p: &[f64]) -> Setting<'_> {
        let layout = self.layout();
        let (azimuth, elevation) = self.offsets(part, p);
        let grown = p[layout.width].exp();
        let (wide, slant) = match self.elliptic {
            true => (p[layout.ellipse].exp(), p[layout.ellipse + 1]),
            false => (1.0, 0.0),
        };
        let columns = self.baseline.iter().zip(&p[layout.baseline..]);
        let columns = columns.enumerate().map(|(k, (column, c))| (k, column, *c));
        Setting {
            azimuth: PlaneRotation::new(azimuth),
            elevation: PlaneRotation::new(-elevation),
            height: p[layout.heights + part.height],
            baseline: columns
                .filter(|(_, column, _)| column.touches(&part.points))
                .collect(),
            scale: 1.0 / (self.width * grown),
            radius: self.radius / grown,
            xx: 1.0 / (wide * wide),
            yy: wide * wide,
            xy: slant,
        }
    }

    /// The modelled value at point `i`.
    #[inline]
    pub fn at(&self, i: usize, setting: &Setting<'_>) -> Modelled {
        let (point, reading) = (&self.points[i], &self.readings[i]);
        let place = in_beam(
            &point.emitter,
            reading.across.plus(setting.azimuth),
            reading.up.plus(setting.elevation),
        );
        let columns = setting.baseline.iter();
        let mut modelled = Modelled {
            baseline: columns.map(|(_, column, c)| column.at(i) * c).sum(),
            height: setting.height,
            response: 0.0,
            by_azimuth: 0.0,
            by_elevation: 0.0,
            by_width: 0.0,
            by_ellipse: [0.0; 2],
        };
        if place.y_elevation <= 0.0 {
            return modelled;
        }
        let Setting {
            scale, xx, yy, xy, ..
        } = *setting;
        let (x, y) = (place.x * scale, place.y * scale);
        let square = x * x * xx + y * y * yy + 2.0 * xy * x * y;
        let response = self.beam.response(square.max(0.0), setting.radius);
        let by_x = (2.0 * x * xx + 2.0 * xy * y) * scale;
        let by_y = (2.0 * y * yy + 2.0 * xy * x) * scale;
        modelled.response = response.value;
        modelled.by_azimuth =
            response.slope * (by_x * place.x_azimuth + by_y * place.y_azimuth) * self.azimuth.unit;
        modelled.by_elevation = response.slope * by_y * place.y_elevation * self.elevation.unit;
        modelled.by_width = response.stretch;
        if self.elliptic {
            modelled.by_ellipse = [
                response.slope * 2.0 * (y * y * yy - x * x * xx),
                response.slope * 2.0 * x * y,
            ];
        }
        modelled
    }

    /// The modelled value at every point.
    pub fn everywhere(&self, p: &[f64]) -> Vec<Modelled> {
        let mut all = Vec::with_capacity(self.points.len());
        for part in &self.parts {
            let setting = self.setting(part, p);
            all.extend(part.points.clone().map(|i| self.at(i, &setting)));
        }
        all
    }
}

fn spread(slot: Slot, values: &mut [f64], slope: f64) {
    match slot {
        _ if values.is_empty() => {}
        Slot::Group(k) => values[k] = slope,
        Slot::Mean => {
            let share = slope / values.len() as f64;
            values.iter_mut().for_each(|v| *v = share);
        }
    }
}

impl Model for ScanModel<'_> {
    fn parameters(&self) -> usize {
        self.alone().parameters()
    }
    fn observations(&self) -> usize {
        self.points.len()
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        self.alone().evaluate(p, block)
    }
    fn evaluate_listed(
        &self,
        p: &[f64],
        points: &[usize],
        block: &mut Block,
    ) -> Result<(), Unevaluable> {
        self.alone().evaluate_listed(p, points, block)
    }
    fn stretches(&self) -> Vec<Stretch> {
        self.alone().stretches()
    }
}

impl Extended<'_, '_> {
    /// Pushes the rows of points in ascending order.
    fn rows(&self, p: &[f64], points: impl Iterator<Item = usize>, block: &mut Block) {
        let Extended { model, extras } = self;
        let layout = model.layout();
        let mut slopes = vec![0.0; self.parameters()];
        let mut parts = model.parts.iter();
        let mut here: Option<(&Part, Setting<'_>)> = None;
        for i in points {
            let (part, setting) = match &mut here {
                Some((part, setting)) if part.points.contains(&i) => (*part, &*setting),
                _ => {
                    let Some(part) = parts.find(|part| part.points.contains(&i)) else {
                        break;
                    };
                    // Slopes not set below are zero at every point of the part.
                    slopes.fill(0.0);
                    let (part, setting) = here.insert((part, model.setting(part, p)));
                    (*part, &*setting)
                }
            };
            let at = model.at(i, setting);
            // A residual decreases as the modelled power increases.
            let whitened = 1.0 / model.noise[i];
            let (scale, h) = (-whitened, -whitened * at.height);
            let s = &mut slopes;
            let azimuth = &mut s[layout.azimuth..layout.elevation];
            spread(part.azimuth, azimuth, h * at.by_azimuth);
            let elevation = &mut s[layout.elevation..layout.width];
            spread(part.elevation, elevation, h * at.by_elevation);
            s[layout.width] = h * at.by_width;
            if model.elliptic {
                s[layout.ellipse] = h * at.by_ellipse[0];
                s[layout.ellipse + 1] = h * at.by_ellipse[1];
            }
            s[layout.heights + part.height] = scale * at.response;
            for (k, column, _) in &setting.baseline {
                s[layout.baseline + k] = scale * column.at(i);
            }
            for (slope, extra) in s[layout.count..].iter_mut().zip(*extras) {
                *slope = scale * extra.slope(i, &at);
            }
            block.push(i, (model.points[i].power - at.power()) * whitened, &slopes);
        }
    }
}

impl Model for Extended<'_, '_> {
    fn parameters(&self) -> usize {
        self.model.layout().count + self.extras.len()
    }
    fn observations(&self) -> usize {
        self.model.points.len()
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        self.rows(p, block.range(), block);
        Ok(())
    }
    fn evaluate_listed(
        &self,
        p: &[f64],
        points: &[usize],
        block: &mut Block,
    ) -> Result<(), Unevaluable> {
        self.rows(p, points.iter().copied(), block);
        Ok(())
    }
    fn stretches(&self) -> Vec<Stretch> {
        let Extended { model, extras } = self;
        let layout = model.layout();
        let stretch = |part: &Part| {
            let of_axis = |slot: Slot, all: Range<usize>| match slot {
                Slot::Group(k) if !all.is_empty() => all.start + k..all.start + k + 1,
                _ => all,
            };
            let columns = model.baseline.iter().enumerate();
            let beside = extras.iter().enumerate();
            let baseline = columns
                .filter(|(_, column)| column.touches(&part.points))
                .map(|(k, _)| layout.baseline + k);
            let extras = beside
                .filter(|(_, extra)| extra.touches(&part.points))
                .map(|(k, _)| layout.count + k);
            Stretch {
                observations: part.points.clone(),
                parameters: std::iter::once(layout.heights + part.height)
                    .chain(baseline)
                    .chain(of_axis(part.azimuth, layout.azimuth..layout.elevation))
                    .chain(of_axis(part.elevation, layout.elevation..layout.width))
                    .chain(layout.width..layout.count)
                    .chain(extras)
                    .collect(),
            }
        };
        model.parts.iter().map(stretch).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::beam_frame::Fixed;
    use super::*;
    use crate::fit::{Options, fit};

    /// Analytic derivatives and central differences agree to within this, for heights of 2 and 3:
    /// the beam's values and slopes are interpolated separately, with 64 nodes per width and to
    /// 1e-7 of the height.
    const DIFFERENCES: f64 = 2e-5;

    fn points() -> Vec<ScanPoint> {
        (0..40)
            .map(|i| {
                let t = i as f64 - 19.5;
                ScanPoint {
                    seconds: t,
                    azimuth: 2.0 + 0.02 * t,
                    elevation: 0.7 + 0.006 * (t * 0.9).sin(),
                    emitter: Fixed::new(1.5 + 2e-4 * t, 0.72 + 1e-4 * t),
                    power: 1.0,
                    rows: 1.0,
                }
            })
            .collect()
    }
    fn model(points: &[ScanPoint], elliptic: bool, beam: Beam, radius: f64) -> ScanModel<'_> {
        let part = |points: Range<usize>, azimuth: Slot, height: usize| Part {
            points,
            azimuth,
            elevation: Slot::Mean,
            height,
        };
        ScanModel {
            points,
            readings: Turned::of(points),
            parts: vec![
                part(0..10, Slot::Group(0), 0),
                part(10..20, Slot::Group(1), 0),
                part(20..points.len(), Slot::Mean, 1),
            ],
            azimuth: AxisLayout {
                groups: 2,
                reference: 0.5,
                unit: 0.12 / 0.75,
            },
            elevation: AxisLayout {
                groups: 1,
                reference: -0.02,
                unit: 0.12,
            },
            width: 0.12,
            beam,
            radius,
            elliptic,
            heights: 2,
            baseline: vec![Column::new(0, vec![1.0; points.len()])],
            noise: vec![1.0; points.len()],
        }
    }

    fn powers(model: &ScanModel<'_>, p: &[f64]) -> Vec<f64> {
        model.everywhere(p).iter().map(Modelled::power).collect()
    }

    /// The power of every point with one parameter (or extra) increased by `by`.
    fn changed(model: &ScanModel<'_>, extras: &[Extra], p: &[f64], at: usize, by: f64) -> Vec<f64> {
        let layout = model.layout();
        let mut larger = p.to_vec();
        let Some(extra) = at.checked_sub(layout.count).map(|k| &extras[k]) else {
            larger[at] += by;
            return powers(model, &larger);
        };
        // Each point's power as if all points had its value of the extra.
        let one = |i: usize| {
            let (mut p, mut shifted) = (p.to_vec(), model.clone());
            let mut shift = |azimuth: f64, elevation: f64| {
                shifted.azimuth.reference += azimuth * shifted.azimuth.unit;
                shifted.elevation.reference += elevation * shifted.elevation.unit;
            };
            match extra {
                Extra::Column(column) => p[layout.baseline] += by * column.at(i),
                Extra::Height(column) => {
                    let own = model.parts.iter().find(|part| part.points.contains(&i));
                    p[layout.heights + own.unwrap().height] *= 1.0 + by * column.at(i);
                }
                Extra::Width(column) => p[layout.width] += by * column.at(i),
                Extra::Unmeasured(ScanAxis::Azimuth) => shift(by, 0.0),
                Extra::Unmeasured(ScanAxis::Elevation) => shift(0.0, by),
                Extra::Offsets(offsets) => shift(by * offsets[i].0, by * offsets[i].1),
            }
            powers(&shifted, &p)[i]
        };
        (0..model.points.len()).map(one).collect()
    }

    #[test]
    fn every_derivative_is_that_of_differences() {
        /// The truncation error is its square times a third derivative, about 100 per cubed
        /// beamwidth.
        const STEP: f64 = 1e-5;
        let points = points();
        let values: Vec<f64> = (0..points.len()).map(|i| (i as f64 * 0.7).sin()).collect();
        let column = || Column::new(0, values.clone());
        let extras = [
            Extra::Column(column()),
            Extra::Height(column()),
            Extra::Width(column()),
            Extra::Unmeasured(ScanAxis::Azimuth),
            Extra::Unmeasured(ScanAxis::Elevation),
            Extra::Offsets(values.iter().map(|c| (*c, 0.5 - c)).collect()),
        ];
        for (elliptic, beam, radius) in [
            (false, Beam::of_point(), 0.0),
            (true, Beam::of_point(), 0.0),
            (false, Beam::of_disc(0.5), 0.5),
            (true, Beam::of_disc(0.5), 0.5),
        ] {
            let model = model(&points, elliptic, beam, radius);
            let extended = Extended {
                model: &model,
                extras: &extras,
            };
            let layout = model.layout();
            let mut p = vec![3.0, 2.0, 1.0, 0.1, 0.15, -0.05, 0.1];
            if elliptic {
                p.extend([0.05, 0.08]);
            }
            assert_eq!(p.len(), layout.count);
            // Extras are evaluated at zero.
            p.extend([0.0; 6]);
            let mut block = Block::new(p.len(), points.len());
            block.ask(0..points.len());
            extended.evaluate(&p, &mut block).unwrap();
            for j in 0..p.len() {
                let [more, less] = [STEP, -STEP].map(|by| changed(&model, &extras, &p, j, by));
                let mut largest: f64 = 0.0;
                for i in 0..points.len() {
                    // A residual is the measured less the modelled power.
                    let analytic = -block.derivative(i, j);
                    let numeric = (more[i] - less[i]) / (2.0 * STEP);
                    largest = largest.max(analytic.abs());
                    assert!(
                        (numeric - analytic).abs() < DIFFERENCES,
                        "parameter {j} at {i}: {numeric} {analytic}"
                    );
                }
                assert!(largest > 0.01, "parameter {j} changes nothing");
            }
        }
    }

    #[test]
    fn rows_depend_on_the_parameters_of_their_stretch_only() {
        let points = points();
        let model = model(&points, true, Beam::of_point(), 0.0);
        let late = Column::new(20, vec![1.0; 20]);
        let extended = Extended {
            model: &model,
            extras: &[Extra::Height(late)],
        };
        let p = [3.0, 2.0, 1.0, 0.1, 0.15, -0.05, 0.1, 0.05, 0.08, 0.0];
        let mut block = Block::new(p.len(), points.len());
        block.ask(0..points.len());
        extended.evaluate(&p, &mut block).unwrap();
        let stretches = extended.stretches();
        assert_eq!(stretches.len(), 3);
        for stretch in stretches {
            assert!(stretch.parameters.is_sorted());
            for j in 0..p.len() {
                let mut own = stretch.observations.clone();
                let touched = own.any(|i| block.derivative(i, j) != 0.0);
                assert_eq!(touched, stretch.parameters.contains(&j), "{j}");
            }
        }
    }

    #[test]
    fn a_made_up_signal_is_found_again() {
        let mut points = points();
        let truth = vec![3.0, 2.0, 1.0, 0.1, 0.15, -0.05, 0.1];
        let powers = powers(&model(&points, false, Beam::of_point(), 0.0), &truth);
        for (point, power) in points.iter_mut().zip(powers) {
            point.power = power;
        }
        let model = model(&points, false, Beam::of_point(), 0.0);
        let start = [2.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0];
        let solution = fit(&model, &start, &Options::default()).unwrap();
        for (found, true_value) in solution.parameters.iter().zip(&truth) {
            assert!(
                (found - true_value).abs() < 1e-6,
                "{:?}",
                solution.parameters
            );
        }
    }
}
