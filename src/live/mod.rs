//! At the mount: a relay between a tracking program and the mount's daemon.
//!
//! Everything that decides is here without input and output: the [`protocol`] of clients, the
//! conversation with the daemon, the guard as a function of state and demand, and the [`Relay`] that
//! joins them, driven by events and a clock from outside. [`serve()`] runs it over sockets.

mod aim;
mod axes;
mod clients;
pub mod daemon;
mod engine;
mod guard;
mod link;
mod log_csv;
mod messages;
mod pass;
pub mod protocol;
pub mod reasons;
mod record;
mod serve;
mod wires;
mod zone;

pub use aim::{Aim, Aimed, AskedDirection, InKeyhole, NoAim, ReportTurn};
pub use axes::{Axes, Beam, Travel};
pub use clients::{ClientId, SILENT};
pub use engine::{
    Action, Drive, Driven, Event, OnDisconnect, Operator, Relay, RelaySettings, SunAt, SunPlace,
    Wire,
};
pub use guard::{Goal, GuardDecision, Refused, Rules, Situation, decide, strayed};
pub use log_csv::{LoggedPass, RelayLog, parse_log, read_log};
pub use messages::{Loudness, RelayNotice, RelayStatus};
pub use pass::{Figures, ON_TARGET_DB, PassSample, PassTally, loss_db};
pub use record::{About, COLUMNS, FORMAT, RELAY, RelayRow, head};
pub use serve::{Inbox, Inlet, RelayReport, inlet, serve};
pub use wires::{WireEvent, WireNews, Wires};
pub use zone::{SunZone, largest_rate, usual_radius};
