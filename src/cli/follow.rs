//! `plumbeam point EMITTER`: an emitter of the station file, once or followed.

use clap::Args as ClapArgs;

use super::value::stretch_s;
use super::zone::{Instant, ZoneOption};
use super::{Console, Verdict};
use crate::ephemeris::{SUN_CAUTION, near_sun};
use crate::logbook::keyed;
use crate::mount::Kind;
use crate::outputs::Output;
use crate::problem::Error;
use crate::sky::{Notices, Sky};
use crate::station::Station;
use crate::table::{FollowRow, Follower, Instants, Pointer, Sight, WallClock, behind, miss_words};
use crate::time::Utc;

/// Options of `point` that go with an emitter.
#[derive(ClapArgs, Clone, Debug)]
pub struct FollowOptions {
    /// With an emitter: the instant (ISO 8601 with Z or an offset, or by the clock of --zone); now,
    /// if not given
    #[arg(long, value_name = "T")]
    pub at: Option<Instant>,
    /// With an emitter: a line with time and readings at this interval, until Ctrl-C or for as
    /// long as --for says; with --at, all lines at once
    #[arg(long, value_name = "STEP", value_parser = stretch_s, allow_hyphen_values = true)]
    pub every: Option<f64>,
    /// How long to follow
    #[arg(long = "for", value_name = "TIME", value_parser = stretch_s, requires = "every", allow_hyphen_values = true)]
    pub span: Option<f64>,
    #[command(flatten)]
    pub zone: ZoneOption,
}

impl FollowOptions {
    /// Whether any of them is given.
    pub fn any(&self) -> bool {
        self.at.is_some() || self.every.is_some() || self.zone.zone.is_some()
    }
}

/// Answers for the emitter called `name`.
///
/// # Errors
/// An unknown emitter, options that do not go together, or a single instant at which the beam
/// cannot be put on it.
pub fn run(
    name: &str,
    options: &FollowOptions,
    (station, pointer): (&Station, Pointer),
    (machine, out): (bool, Option<&Output>),
    console: &mut Console,
) -> Result<Verdict, Error> {
    let at = options.zone.instant("--at", &options.at)?;
    let sky = Sky::new(station)?;
    let emitter = sky.emitter_named(name)?;
    let mut follower = Follower::new(station, &sky, emitter, pointer);
    let mut assumed = station.site.assumptions.clone();
    assumed.extend(follower.pointer().reading_assumptions(true));
    match options.every {
        None => {
            let time = at.unwrap_or_else(Utc::now);
            if at.is_none() {
                assumed.push(format!(
                    "the time is this machine's, {time} (--at gives another)"
                ));
            }
            once(
                &mut follower,
                time,
                assumed,
                station,
                (machine, out),
                console,
            )
        }
        Some(_) if out.is_some() => Err(Error::Usage(
            "what is followed goes to standard output: leave --out out".to_owned(),
        )),
        Some(every_s) => {
            let instants = match (at, options.span) {
                (Some(start), Some(for_s)) => Instants::given(start, every_s, for_s),
                (Some(_), None) => {
                    return Err(Error::Usage(
                        "--at with --every makes a table from that instant on: give its length with --for"
                            .to_owned(),
                    ));
                }
                (None, for_s) => {
                    assumed.push("the time is this machine's (--at gives another)".to_owned());
                    Instants::live(WallClock, every_s, for_s)
                }
            };
            for sentence in &assumed {
                console.note(sentence);
            }
            follow(&mut follower, instants, station, machine, console)
        }
    }
}

fn once(
    follower: &mut Follower<'_>,
    time: Utc,
    assumed: Vec<String>,
    station: &Station,
    (machine, out): (bool, Option<&Output>),
    console: &mut Console,
) -> Result<Verdict, Error> {
    let seen = follower.at(time);
    let sight = match &seen {
        Ok(sight) => sight,
        Err(unseen) => {
            return Err(Error::Unsupported(format!(
                "{} at {time}: {unseen}",
                follower.name()
            )));
        }
    };
    let mut warned = Warned::default();
    warned.about(follower, sight, station, console);
    let text = if machine {
        let row = FollowRow {
            assumed,
            ..FollowRow::new(follower, time, &seen)
        };
        format!("{}\n", json(follower.mount(), &row, true)?)
    } else {
        for sentence in &assumed {
            console.note(sentence);
        }
        console.note(&format!(
            "{} at {time}: the beam must point at azimuth {:.4}, elevation {:.4} deg",
            follower.name(),
            sight.apparent.azimuth().degrees(),
            sight.apparent.elevation().degrees()
        ));
        if let Some(miss) = sight.miss {
            console.note(&miss_words(miss));
        }
        format!("{}\n", readings(follower, sight))
    };
    console.deliver(&text, out)?;
    Ok(Verdict::Good)
}

fn follow(
    follower: &mut Follower<'_>,
    instants: Instants<WallClock>,
    station: &Station,
    machine: bool,
    console: &mut Console,
) -> Result<Verdict, Error> {
    let mut warned = Warned::default();
    let (mut answered, mut unseen) = (0u64, 0u64);
    for time in instants {
        let seen = follower.at(time);
        let said = match &seen {
            Ok(sight) => {
                answered += 1;
                warned.about(follower, sight, station, console);
                readings(follower, sight)
            }
            Err(why) => {
                unseen += 1;
                format!("error: {why}")
            }
        };
        match machine {
            true => {
                let row = json(
                    follower.mount(),
                    &FollowRow::new(follower, time, &seen),
                    false,
                )?;
                console.data(&format!("{row}\n"))?;
            }
            false => console.result(&format!("{time} {said}\n"))?,
        }
    }
    Ok(match (answered, unseen) {
        (_, 0) => Verdict::Good,
        _ => Verdict::Unsupported,
    })
}

fn readings(follower: &Follower<'_>, sight: &Sight) -> String {
    let reading = sight.reading;
    format!(
        "{:.6} {:.6}{}",
        reading.azimuth.degrees(),
        reading.elevation.degrees(),
        behind(follower.pointer().shown(reading))
    )
}

fn json(mount: Kind, row: &FollowRow, indented: bool) -> Result<String, Error> {
    (serde_json::to_value(row).map(|value| keyed(mount, value)))
        .and_then(|row| match indented {
            true => serde_json::to_string_pretty(&row),
            false => serde_json::to_string(&row),
        })
        .map_err(|e| Error::io("standard output", "write", e.into()))
}

/// What has been warned of.
#[derive(Default)]
struct Warned {
    of_sun: bool,
    notices: Notices,
    told: usize,
}

impl Warned {
    fn about(
        &mut self,
        follower: &Follower<'_>,
        sight: &Sight,
        station: &Station,
        console: &mut Console,
    ) {
        if sight.sun_distance < near_sun(station) && !self.of_sun {
            self.of_sun = true;
            console.warning(&format!("{}:{SUN_CAUTION}", follower.name()));
        }
        self.notices.add(sight.notices.iter().cloned());
        let words = self.notices.in_words();
        for notice in words.iter().skip(self.told) {
            console.warning(notice);
        }
        self.told = words.len();
    }
}
