//! Simulated scans of known emitters by a known mount, for practice and for tests.

use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::logbook::{Sample, Scan};
use crate::mount::{ApproachSigns, Geometry, MountModel, Wrap};
use crate::problem::Error;
use crate::scan::{Beam, NoiseLaw, ScanAxis};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

/// How the mount moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Way {
    /// Along one axis.
    Cut(ScanAxis),
    /// Along the azimuth, then along the elevation axis.
    Cross,
    /// Serpentine rows along the azimuth axis, upward.
    Raster {
        /// Number of rows.
        rows: usize,
    },
}

/// What is scanned and how; lengths in beamwidths.
#[derive(Clone, Debug)]
pub struct ScanPlan {
    /// The scan's name.
    pub name: String,
    /// Name of the emitter in the station file.
    pub emitter: String,
    /// Time of the first sample.
    pub start: Utc,
    /// How the mount moves.
    pub way: Way,
    /// From the middle of each pass to its ends.
    pub half_length: f64,
    /// Number of samples in each pass.
    pub samples: usize,
    /// Speed on the sky, degrees a second.
    pub speed_deg_s: f64,
    /// Whether the first pass runs toward smaller readings.
    pub backward: bool,
    /// Passes along each axis of a cut or cross, alternately there and back.
    pub repeats: usize,
    /// Offset of the middle of the scan from the emitter, along azimuth (on the sky) and elevation.
    pub centre: (f64, f64),
    /// Whether the mount tracks the emitter while it scans.
    pub following: bool,
}

/// Signal, noise and faults of the receiver. Powers are in units of the height of the peak.
#[derive(Clone, Debug)]
pub struct Signal {
    /// Height of the peak over the standard deviation of a sample: off the peak for steady noise,
    /// on it for noise in proportion to power. Zero means no signal at all.
    pub signal_to_noise: f64,
    /// Power off the emitter.
    pub baseline: f64,
    /// Law of the noise.
    pub noise: NoiseLaw,
    /// Rise of the baseline from the first to the last sample.
    pub drift: f64,
    /// Rise of the baseline at both ends of each pass.
    pub bend: f64,
    /// Fractional rise of the gain from the first to the last sample.
    pub gain_drift: f64,
    /// The power is logged this many seconds late.
    pub lag_s: f64,
    /// Power above the baseline at which the receiver saturates.
    pub clipped_at: Option<f64>,
    /// Number of single samples with a spike.
    pub spikes: usize,
    /// Height of the largest spike.
    pub spike_height: f64,
    /// A second emitter nearby: offsets along azimuth (on the sky) and elevation, beamwidths, and
    /// height.
    pub neighbour: Option<(f64, f64, f64)>,
    /// Radius of the emitter's disc, degrees.
    pub disc_radius_deg: f64,
    /// Correlation of the noise of one sample with the next.
    pub memory: f64,
}

impl Default for ScanPlan {
    fn default() -> ScanPlan {
        ScanPlan {
            name: "1".to_owned(),
            emitter: "sun".to_owned(),
            start: Utc::from_unix_nanos(0),
            way: Way::Cross,
            half_length: 1.6,
            samples: 61,
            speed_deg_s: 0.57,
            backward: false,
            repeats: 1,
            centre: (0.0, 0.0),
            following: false,
        }
    }
}

impl Default for Signal {
    fn default() -> Signal {
        Signal {
            signal_to_noise: 30.0,
            baseline: 2.0,
            noise: NoiseLaw::Steady,
            drift: 0.0,
            bend: 0.0,
            gain_drift: 0.0,
            lag_s: 0.0,
            clipped_at: None,
            spikes: 0,
            spike_height: 3.0,
            neighbour: None,
            disc_radius_deg: 0.0,
            memory: 0.0,
        }
    }
}

/// A simulated scan with its true peak.
#[derive(Clone, Debug)]
pub struct MadeUp {
    /// The scan.
    pub scan: Scan,
    /// Encoder readings on the emitter at mid time, without lag or backlash.
    pub peak: EncoderReading,
    /// Direction of the emitter at that time.
    pub apparent: Direction<Apparent>,
}

/// One sample to take.
struct Stop {
    seconds: f64,
    /// Offset from the middle, beamwidths on the sky.
    x: f64,
    y: f64,
    /// Position along its pass, -1 to 1.
    along: f64,
    approach: ApproachSigns,
}

/// Simulates a scan of an emitter of the station.
///
/// # Errors
/// When the emitter has no direction or the mount cannot reach it.
pub fn made_up(
    plan: &ScanPlan,
    signal: &Signal,
    station: &Station,
    sky: &Sky,
    model: &MountModel,
    rng: &mut impl RngExt,
) -> Result<MadeUp, Error> {
    let id = sky.emitter_named(&plan.emitter)?;
    let early = signal.lag_s.abs() + 1.0;
    let length = plan.duration_s(station.dish.beamwidth);
    let track = sky.track_of(
        id,
        plan.start.plus_seconds(-early),
        plan.start.plus_seconds(length + early),
    );
    let wrap = Wrap {
        azimuth_range: station.mount.azimuth_range,
        elevation_range: station.mount.elevation_range,
        present: None,
    };
    let toward = |time| track.apparent(time).map_err(Error::from);
    made_up_toward(
        plan,
        signal,
        station.dish.beamwidth,
        &toward,
        (model, &wrap),
        rng,
    )
}

/// Simulates a scan of an emitter whose direction `toward` gives, by a mount with the cable wrap
/// given.
///
/// # Errors
/// When `toward` fails or the mount cannot reach the direction.
pub fn made_up_toward(
    plan: &ScanPlan,
    signal: &Signal,
    beamwidth: Angle,
    toward: &dyn Fn(Utc) -> Result<Direction<Apparent>, Error>,
    (model, wrap): (&MountModel, &Wrap),
    rng: &mut impl RngExt,
) -> Result<MadeUp, Error> {
    let stops = stops(plan, beamwidth, rng);
    let last = stops.last().map_or(0.0, |s| s.seconds);
    let unreachable = |why: &str| Error::Unsupported(format!("{}: {why}", plan.emitter));
    let mid = plan.start.plus_seconds(0.5 * last);
    let standing = ApproachSigns::default();
    let apparent = toward(mid)?;
    let peak = model
        .reading_to_command(&apparent, standing, wrap)
        .ok()
        .flatten()
        .ok_or_else(|| unreachable("out of the mount's reach"))?;
    let receiver = Receiver {
        geometry: *model.geometry(),
        signal,
        beam: Beam::of_disc(signal.disc_radius_deg / beamwidth.degrees()),
        disc: signal.disc_radius_deg / beamwidth.degrees(),
        beamwidth,
        last,
    };
    // Encoder readings at a stop.
    let reading = |stop: &Stop, seconds: f64| -> Result<EncoderReading, Error> {
        let middle = if plan.following {
            let now = toward(plan.start.plus_seconds(seconds))?;
            model
                .direct_reading_near(&now, standing, peak)
                .map_err(|_| unreachable("in the keyhole"))?
        } else {
            peak
        };
        let cos = match model.kind().is_az_el() {
            true => apparent.elevation().cos(),
            false => peak.elevation.cos(),
        };
        Ok(EncoderReading {
            azimuth: middle.azimuth + beamwidth * ((plan.centre.0 + stop.x) / cos),
            elevation: middle.elevation + beamwidth * (plan.centre.1 + stop.y),
        })
    };
    let mut scan = Scan::new(&plan.name, &plan.emitter, 2);
    let spiked: Vec<usize> = (0..signal.spikes)
        .map(|_| rng.random_range(0..stops.len()))
        .collect();
    let mut remembered: f64 = StandardNormal.sample(rng);
    for (i, stop) in stops.iter().enumerate() {
        // The power logged now belongs to the positions `lag_s` earlier.
        let then = stop.seconds - signal.lag_s;
        let at = reading(&earlier(&stops, i, then), then)?;
        let fresh: f64 = StandardNormal.sample(rng);
        let m = signal.memory;
        remembered = m * remembered + (1.0 - m * m).sqrt() * fresh;
        let beam = model.beam(at, stop.approach);
        let emitter = toward(plan.start.plus_seconds(then))?;
        let mut power = receiver.power(&beam, &emitter, then, stop.along, remembered);
        if spiked.contains(&i) {
            power += signal.spike_height * rng.random_range(0.3..1.0);
        }
        let now = reading(stop, stop.seconds)?;
        scan.samples.push(Sample {
            time: plan.start.plus_seconds(stop.seconds),
            azimuth: now.azimuth,
            elevation: now.elevation,
            power,
        });
    }
    Ok(MadeUp {
        scan,
        peak,
        apparent,
    })
}

/// Returns the stop interpolated at another time of the same pass.
fn earlier(stops: &[Stop], i: usize, seconds: f64) -> Stop {
    let here = &stops[i];
    let same = |s: &&Stop| s.approach == here.approach;
    // Two neighbours of the same pass give the speed.
    let other = stops
        .get(i + 1)
        .filter(same)
        .or_else(|| i.checked_sub(1).map(|j| &stops[j]).filter(same));
    let Some(other) = other else {
        return Stop { ..*here };
    };
    let t = (seconds - here.seconds) / (other.seconds - here.seconds);
    Stop {
        seconds,
        x: here.x + t * (other.x - here.x),
        y: here.y + t * (other.y - here.y),
        along: here.along,
        approach: here.approach,
    }
}

/// Pause between two passes, seconds; invented.
const PAUSE_S: f64 = 2.0;

impl ScanPlan {
    /// Seconds from the first to the last sample of a pass.
    fn seconds_a_pass(&self, beamwidth: Angle) -> f64 {
        2.0 * self.half_length * beamwidth.degrees() / self.speed_deg_s
    }

    /// Seconds from the first sample of the scan to the last.
    pub fn duration_s(&self, beamwidth: Angle) -> f64 {
        let passes = match self.way {
            Way::Cut(_) => self.repeats,
            Way::Cross => 2 * self.repeats,
            Way::Raster { rows } => rows,
        } as f64;
        passes * self.seconds_a_pass(beamwidth) + (passes - 1.0) * PAUSE_S
    }
}

fn stops(plan: &ScanPlan, beamwidth: Angle, rng: &mut impl RngExt) -> Vec<Stop> {
    let seconds_a_pass = plan.seconds_a_pass(beamwidth);
    let rows: Vec<(ScanAxis, f64)> = match plan.way {
        Way::Cut(axis) => vec![(axis, 0.0); plan.repeats],
        Way::Cross => [ScanAxis::Azimuth, ScanAxis::Elevation]
            .into_iter()
            .flat_map(|axis| vec![(axis, 0.0); plan.repeats])
            .collect(),
        Way::Raster { rows } => (0..rows)
            .map(|i| {
                let t = 2.0 * i as f64 / (rows.max(2) - 1) as f64 - 1.0;
                (ScanAxis::Azimuth, t * plan.half_length)
            })
            .collect(),
    };
    let mut stops = Vec::with_capacity(rows.len() * plan.samples);
    let mut begin = 0.0;
    for (k, (axis, across)) in rows.iter().enumerate() {
        let turned = match plan.way {
            Way::Raster { .. } => k % 2 == 1,
            _ => (k % plan.repeats) % 2 == 1,
        };
        let sign = if turned != plan.backward { -1.0 } else { 1.0 };
        for i in 0..plan.samples {
            // Loggers jitter; only the first and the last sample are exactly on time.
            let late = if i == 0 || i == plan.samples - 1 {
                0.0
            } else {
                rng.random_range(-0.35..0.35)
            };
            let t = (i as f64 + late) / (plan.samples - 1) as f64;
            let along = 2.0 * t - 1.0;
            let place = sign * along * plan.half_length;
            let (x, y, approach) = match axis {
                ScanAxis::Azimuth => (
                    place,
                    *across,
                    ApproachSigns {
                        azimuth: sign,
                        elevation: if matches!(plan.way, Way::Raster { .. }) {
                            1.0
                        } else {
                            0.0
                        },
                    },
                ),
                ScanAxis::Elevation => (
                    0.0,
                    place,
                    ApproachSigns {
                        azimuth: 0.0,
                        elevation: sign,
                    },
                ),
            };
            stops.push(Stop {
                seconds: begin + t * seconds_a_pass,
                x,
                y,
                along,
                approach,
            });
        }
        begin += seconds_a_pass + PAUSE_S;
    }
    stops
}

struct Receiver<'a> {
    geometry: Geometry,
    signal: &'a Signal,
    beam: Beam,
    disc: f64,
    beamwidth: Angle,
    last: f64,
}

impl Receiver<'_> {
    /// Returns the power logged for the given directions of beam and emitter, at `along` its pass
    /// from -1 to 1.
    fn power(
        &self,
        beam: &Direction<Apparent>,
        emitter: &Direction<Apparent>,
        seconds: f64,
        along: f64,
        deviate: f64,
    ) -> f64 {
        let s = self.signal;
        let chord = 2.0 * (0.5 * self.beamwidth.radians()).sin();
        let response = |target: &Direction<Apparent>| {
            let distance = beam.separation(target).radians().sin() / chord;
            self.beam.response(distance * distance, self.disc).value
        };
        let (height, noise) = match s.signal_to_noise {
            n if n > 0.0 => (1.0, 1.0 / n),
            _ => (0.0, 1.0 / 30.0),
        };
        let mut seen = height * response(emitter);
        if let Some((x, y, strength)) = s.neighbour {
            let basis = self.geometry.basis_at(&emitter.east_north_up());
            let w = self.beamwidth.radians();
            let v = basis.outward + basis.rightward * (x * w) + basis.upward * (y * w);
            seen += strength * response(&Direction::from_east_north_up(&v));
        }
        let t = seconds / self.last;
        let base = s.baseline + s.drift * (t - 0.5) + s.bend * along * along;
        let gain = 1.0 + s.gain_drift * (t - 0.5);
        let clean = gain * (base + seen);
        let scale = match s.noise {
            NoiseLaw::Steady => 1.0,
            NoiseLaw::Radiometer => clean / (s.baseline + height),
        };
        let power = clean + noise * scale * deviate;
        match s.clipped_at {
            Some(limit) => power.min(s.baseline + limit),
            None => power,
        }
    }
}
