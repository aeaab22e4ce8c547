//! The desk in a browser: an HTTP server on this computer.

mod api;
mod assets;
mod events;
mod guard;

use std::future::Future;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};

use super::live::Live;
use super::state::Desk;
use crate::problem::Error;

pub use events::{Bus, Event};
use guard::Gate;

/// Largest request body, bytes: an edit or a list of exports is far smaller.
const MOST_BYTES: usize = 64 << 10;
/// Largest log to import, bytes.
const MOST_IMPORTED_BYTES: usize = 64 << 20;
/// Bytes in a token: 128 bits cannot be guessed.
const TOKEN_BYTES: usize = 16;

/// A port that is bound but not yet served.
#[derive(Debug)]
pub struct Bound {
    listener: TcpListener,
    address: SocketAddr,
    token: Option<String>,
}

/// Everything that the handlers share.
#[derive(Clone)]
pub(crate) struct Shared {
    desk: Arc<Desk>,
    live: Arc<Live>,
    bus: Bus,
}

impl Bound {
    /// Binds a port, or one the system chooses: on the loopback interface, or with `lan` on all
    /// interfaces, with a random token that every request must carry.
    ///
    /// # Errors
    /// [`Error::Usage`] if the port is not available.
    pub fn new(port: u16, lan: bool) -> Result<Bound, Error> {
        let host = match lan {
            true => Ipv4Addr::UNSPECIFIED,
            false => Ipv4Addr::LOCALHOST,
        };
        let bound = TcpListener::bind((host, port)).and_then(|listener| {
            listener.set_nonblocking(true)?;
            let address = listener.local_addr()?;
            Ok((listener, address))
        });
        let (listener, address) = bound.map_err(|e| {
            Error::Usage(format!(
                "port {port} of {host} cannot be had: {e}\n  help: name another with --port, or leave \
                 it out and the system chooses one"
            ))
        })?;
        let token = lan.then(new_token).transpose()?;
        Ok(Bound {
            listener,
            address,
            token,
        })
    }

    /// Returns the address for a browser on this computer.
    pub fn url(&self) -> String {
        self.url_on(IpAddr::V4(Ipv4Addr::LOCALHOST))
    }

    /// Returns the address for a browser elsewhere on the network; `None` if unknown or bound to
    /// this computer alone.
    pub fn lan_url(&self) -> Option<String> {
        self.token.as_ref()?;
        own_address().map(|ip| self.url_on(ip))
    }

    fn url_on(&self, ip: IpAddr) -> String {
        let query = match &self.token {
            Some(token) => format!("?token={token}"),
            None => String::new(),
        };
        format!("http://{ip}:{}/{query}", self.address.port())
    }

    /// Serves until `end` is signalled.
    ///
    /// # Errors
    /// If the runtime or the socket fails.
    pub fn serve(
        self,
        (desk, live): (Arc<Desk>, Arc<Live>),
        bus: Bus,
        end: impl Future<Output = ()>,
    ) -> Result<(), Error> {
        let io = |e| Error::io("the desk's port", "serve", e);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_io()
            .enable_time()
            .build()
            .map_err(io)?;
        let gate = Arc::new(Gate::new(self.address.port(), self.token));
        let app = router(Shared { desk, live, bus }, gate);
        let served = runtime.block_on(async move {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let serving = std::pin::pin!(async { axum::serve(listener, app).await });
            let ended = std::pin::pin!(end);
            match futures_util::future::select(serving, ended).await {
                futures_util::future::Either::Left((served, _)) => served,
                futures_util::future::Either::Right(_) => Ok(()),
            }
        });
        // Requests still waiting for a state would delay the shutdown.
        runtime.shutdown_background();
        served.map_err(io)
    }
}

fn router(shared: Shared, gate: Arc<Gate>) -> Router {
    Router::new()
        .route("/", get(assets::page))
        .route("/assets/{name}", get(assets::asset))
        .route("/api/state", get(api::state))
        .route("/api/events", get(events::events))
        .route("/api/edit", post(api::edit))
        .route("/api/picture/{name}", get(api::picture))
        .route("/api/map.svg", get(api::map))
        .route("/api/export", post(api::export))
        .route("/api/next", get(api::next))
        .route("/api/passes", get(api::passes_listed))
        .route("/api/reading", post(api::reading))
        .route("/api/peaking", post(api::peaking))
        .route("/api/stop", post(api::stop))
        .route("/api/import-answer", post(api::import_answered))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .route(
            "/api/import",
            post(api::import).layer(DefaultBodyLimit::max(MOST_IMPORTED_BYTES)),
        )
        .fallback(api::nothing)
        .layer(middleware::from_fn_with_state(gate, guard::guard))
        .with_state(shared)
}

/// Makes a random token.
fn new_token() -> Result<String, Error> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes)
        .map_err(|e| Error::Unsupported(format!("the system gives no random number: {e}")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Returns this computer's address on the network: the source address of its packets. Nothing
/// is sent to find out.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address reserved for documentation (RFC 5737): connecting UDP sends no packet.
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    let ip = socket.local_addr().ok()?.ip();
    (!ip.is_unspecified()).then_some(ip)
}
