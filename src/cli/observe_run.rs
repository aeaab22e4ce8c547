//! Runs an observation: on a pretended dish, or over sockets with keys, signals and a stop file.

use std::io::Read;
use std::sync::Arc;
use std::time::Duration;

use super::keys::{Keys, watch_for};
use super::observe_args::{Args, Form, Unit};
use super::observe_report::Reporter;
use crate::observe::{
    self, Ending, Inlet, ObservationRun, PowerLines, PowerSource, Practised, StopCause, listen,
    practise,
};
use crate::outputs::RunRecord;
use crate::problem::{Error, printable};
use crate::simulate::{Dish, PRACTICE, Truth};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

/// On a pretended dish.
pub(super) fn practice(
    args: &Args,
    (station, sky): (&Arc<Station>, &Arc<Sky>),
    observation: ObservationRun,
    lines: PowerLines,
    reporter: &mut Reporter,
) -> Result<Ending, Error> {
    if args.power_unit != Unit::Db || args.power_form != Form::Line {
        return Err(Error::Usage(
            "the pretended receiver tells decibels, a power a line: leave --power-unit and --power-form out"
                .to_owned(),
        ));
    }
    let truth = match &args.truth {
        Some(path) => Truth::read(path)?,
        None => Truth::parse("the invented truth", PRACTICE)?.named_for(station.mount.kind()),
    };
    let start = (args.zone.instant("--at", &args.at)?).unwrap_or_else(Utc::now);
    let mut dish = Dish::new(station, sky, &truth, args.fault.clone(), (start, args.seed))?;
    if let Some(name) = &args.start_on {
        let direction = sky.apparent(name, start)?;
        let approach = crate::mount::ApproachSigns::UNKNOWN;
        if let Ok(found) = truth
            .model(&station.mount.geometry)?
            .readings(&direction, approach)
        {
            let reading = found.direct;
            dish.stand_at([reading.azimuth.degrees(), reading.elevation.degrees()]);
        }
    }
    let mut owner = PracticeOwner {
        reporter,
        stopped: None,
    };
    practise(observation, &mut dish, lines, start, &mut owner);
    let stopped = owner.stopped.map(|cause| cause.to_string());
    Ok(reporter
        .ending()
        .unwrap_or_else(|| Ending::BrokenOff(stopped.unwrap_or_default())))
}

struct PracticeOwner<'a> {
    reporter: &'a mut Reporter,
    stopped: Option<StopCause>,
}

impl Practised for PracticeOwner<'_> {
    fn action(&mut self, action: observe::Action, at: Duration) {
        self.reporter.at(Some(at));
        self.reporter.take(action);
    }
    fn gives_up(&mut self, cause: &StopCause) -> bool {
        self.stopped = Some(cause.clone());
        true
    }
}

/// Over sockets.
pub(super) fn real(
    args: &Args,
    record: Option<RunRecord>,
    observation: ObservationRun,
    lines: PowerLines,
    reporter: &mut Reporter,
) -> Result<Ending, Error> {
    let (Some(rotator), Some(power)) = (&args.rotator, &args.power) else {
        return Err(Error::Usage(
            "--rotator and --power are needed, or --practice".to_owned(),
        ));
    };
    if !rotator.contains(':') {
        return Err(Error::Usage(format!(
            "--rotator \"{}\" has no port; expected HOST:PORT, such as 127.0.0.1:4533",
            printable(rotator)
        )));
    }
    let (inlet, inbox) = observe::inlet();
    let keys = listen_to_keys(power, &inlet)?;
    let of_signals = inlet.clone();
    ctrlc::set_handler(move || of_signals.signal())
        .map_err(|e| Error::io("signals", "listen to", std::io::Error::other(e)))?;
    let stop_file = match &record {
        Some(record) => Some(record.stop_file().to_owned()),
        None => args.stop_file.clone(),
    };
    if let Some(file) = stop_file {
        let inlet = inlet.clone();
        watch_for(file, move |there| inlet.stop_file(there));
    }
    let of_receiver = inlet.clone();
    let listening = listen(power, lines, move |heard| of_receiver.heard(heard))?;
    observe::observe(observation, rotator, (inlet, inbox), &mut |action| {
        reporter.take(action);
    });
    drop(listening);
    drop(keys);
    drop(record);
    Ok(reporter
        .ending()
        .unwrap_or_else(|| Ending::BrokenOff(String::new())))
}

/// Keys: from the terminal one by one; else, when the receiver does not need it, from standard input.
fn listen_to_keys(power: &PowerSource, inlet: &Inlet) -> Result<Option<Keys>, Error> {
    let pressed = {
        let inlet = inlet.clone();
        move |key| inlet.key(key)
    };
    if *power == PowerSource::Standard {
        return Keys::listen_to_terminal(pressed).map(Some).ok_or_else(|| {
            Error::Usage(
                "--power - leaves no standard input for keys, and there is no terminal: nobody could stop \
                 it\n  help: give the receiver's stream over tcp:, udp:, serial: or command:"
                    .to_owned(),
            )
        });
    }
    let for_pipe = inlet.clone();
    Ok(match Keys::listen(pressed) {
        Some(keys) => Some(keys),
        None => {
            std::thread::spawn(move || {
                for byte in std::io::stdin().lock().bytes() {
                    match byte {
                        Ok(byte) => for_pipe.key(byte),
                        Err(_) => return,
                    }
                }
            });
            None
        }
    })
}
