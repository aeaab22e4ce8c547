//! Whatever reaches a running relay other than its clients and the mount: signals, keys, files.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender};

use super::args::read;
use crate::angle::EncoderReading;
use crate::cli::calibration::full_model;
use crate::cli::keys::{Keys, watch_for};
use crate::files::Stamp;
use crate::live::{Inlet, Loudness, Operator, RelayNotice};
use crate::problem::Error;
use crate::station::Station;
use crate::table::{CalibrationWatch, DemandKind, Loaded, Source};

/// SIGINT and SIGTERM stop the mount and end the relay.
///
/// # Errors
/// When the system does not let them be heard.
pub fn end_on_signals(inlet: &Inlet) -> Result<(), Error> {
    let inlet = inlet.clone();
    ctrlc::set_handler(move || inlet.operator(Operator::End, "a signal to end"))
        .map_err(|e| Error::io("signals", "listen to", std::io::Error::other(e)))
}

/// Keys of the terminal, if there is one; `confirm` hears of the key that takes a calibration.
pub fn listen_to_keys(inlet: &Inlet, confirm: Sender<()>) -> Option<Keys> {
    let inlet = inlet.clone();
    Keys::listen(move |key| match key {
        b'a' | b'A' => inlet.operator(Operator::Acknowledge, "the key a"),
        b'c' | b'C' => drop(confirm.send(())),
        b'q' | b'Q' => inlet.operator(Operator::End, "the key q"),
        _ => inlet.operator(Operator::Stop, "a key"),
    })
}

/// Looks for the stop file and the file that acknowledges, in threads of their own.
pub fn watch_files(
    stop_file: Option<&Path>,
    ack_file: Option<&Path>,
    inlet: &Inlet,
    confirm: &Sender<()>,
) {
    /// Nothing waits for an acknowledgement but the person who gives it.
    const OFTEN: Duration = Duration::from_millis(100);
    if let Some(file) = stop_file.map(Path::to_path_buf) {
        let inlet = inlet.clone();
        watch_for(file, move |there| inlet.stop_file(there));
    }
    if let Some(file) = ack_file.map(Path::to_path_buf) {
        let (inlet, confirm) = (inlet.clone(), confirm.clone());
        let mut was = Stamp::of(&file);
        std::thread::spawn(move || {
            loop {
                let now = Stamp::of(&file);
                if now != was {
                    was = now;
                    if now.is_some() {
                        inlet.operator(Operator::Acknowledge, "the file");
                        let _ = confirm.send(());
                    }
                }
                std::thread::sleep(OFTEN);
            }
        });
    }
}

/// Reads the calibration again when its file changes, with the rules of the live stream.
pub fn watch_calibration(
    (path, seen): (PathBuf, Option<Stamp>),
    station: Arc<Station>,
    (kind, mut source): (DemandKind, Source),
    (present, confirmed): (Arc<Mutex<Option<EncoderReading>>>, Receiver<()>),
    inlet: Inlet,
) {
    /// A new calibration is taken up between two demands of a slow tracker.
    const OFTEN: Duration = Duration::from_millis(200);
    std::thread::spawn(move || {
        let load = || {
            let (calibration, _) = read(&path, &station)?;
            Ok(Loaded {
                source: Source::Full(Box::new(full_model(&calibration, &station, kind)?)),
                beamwidth: Some(station.dish.beamwidth),
                caveats: calibration
                    .standing(&station.site.name, station.mount.kind())
                    .caveats(),
            })
        };
        let mut watch = CalibrationWatch::new(&path, seen, &load).confirmed_by("the key c");
        let tell = |loudness, text| inlet.tell(RelayNotice { loudness, text });
        loop {
            let asked = match confirmed.recv_timeout(OFTEN) {
                Ok(()) => true,
                Err(RecvTimeoutError::Timeout) => false,
                Err(RecvTimeoutError::Disconnected) => {
                    std::thread::sleep(OFTEN);
                    false
                }
            };
            let here = present.lock().map_or(None, |here| *here);
            let result = match asked {
                true if watch.waits() => Some(watch.confirm(&source, here)),
                _ => watch.changed(&source, here),
            };
            match result {
                None => {}
                Some(Err(error)) => tell(
                    Loudness::Warning,
                    format!("the old calibration stays in use: {error}"),
                ),
                Some(Ok(loaded)) => {
                    tell(Loudness::Note, format!("{} was read again", watch.name()));
                    if let Source::Full(full) = &loaded.source {
                        inlet.calibration(full.clone(), loaded.caveats.clone());
                    }
                    source = loaded.source;
                }
            }
        }
    });
}
