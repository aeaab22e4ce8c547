//! Serves a simulated dish to other programs in real time: the rotator protocol on one port, the
//! receiver's lines on another.

use std::collections::HashMap;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Sender, unbounded};

use super::{Dish, Link};

enum News {
    Opened(Link, TcpStream),
    Bytes(Link, Vec<u8>),
    Closed(Link),
    Listener(TcpStream),
}

/// Write timeout: a client that does not read within this time is disconnected, so that it cannot
/// hold up the dish.
const WRITE: Duration = Duration::from_millis(500);
/// Interval at which the dish is advanced: the longest step of its motion.
const OFTEN: Duration = Duration::from_millis(5);

/// Serves the dish until `ends` is set.
pub fn serve(mut dish: Dish, rotator: TcpListener, power: TcpListener, ends: &Arc<AtomicBool>) {
    let (news_in, news) = unbounded();
    accept_clients(rotator, news_in.clone());
    std::thread::spawn(move || {
        for stream in power.incoming().flatten() {
            if news_in.send(News::Listener(stream)).is_err() {
                return;
            }
        }
    });
    let start = Instant::now();
    let mut clients: HashMap<Link, TcpStream> = HashMap::new();
    let mut listeners: Vec<TcpStream> = Vec::new();
    while !ends.load(Ordering::SeqCst) {
        let first = news.recv_timeout(OFTEN).ok();
        dish.advance(start.elapsed());
        for what in first.into_iter().chain(news.try_iter()) {
            match what {
                News::Opened(link, stream) => {
                    let _ = stream.set_nodelay(true);
                    let _ = stream.set_write_timeout(Some(WRITE));
                    clients.insert(link, stream);
                }
                News::Bytes(link, bytes) => dish.hear(link, &bytes),
                News::Closed(link) => {
                    clients.remove(&link);
                    dish.close(link);
                }
                News::Listener(stream) => {
                    let _ = stream.set_write_timeout(Some(WRITE));
                    listeners.push(stream);
                }
            }
        }
        if !dish.is_reachable() {
            for (link, stream) in clients.drain() {
                let _ = stream.shutdown(Shutdown::Both);
                dish.close(link);
            }
        }
        while let Some((link, text)) = dish.take_reply() {
            let failed = clients
                .get_mut(&link)
                .is_some_and(|stream| stream.write_all(text.as_bytes()).is_err());
            if failed {
                clients.remove(&link);
                dish.close(link);
            }
        }
        while let Some(line) = dish.take_power() {
            let line = format!("{line}\n");
            listeners.retain_mut(|stream| stream.write_all(line.as_bytes()).is_ok());
        }
    }
}

fn accept_clients(listener: TcpListener, news: Sender<News>) {
    std::thread::spawn(move || {
        for (link, stream) in (1..).zip(listener.incoming().flatten()) {
            let Ok(mut reader) = stream.try_clone() else {
                continue;
            };
            if news.send(News::Opened(link, stream)).is_err() {
                return;
            }
            let news = news.clone();
            std::thread::spawn(move || {
                let mut bytes = [0; 4096];
                loop {
                    match reader.read(&mut bytes) {
                        Ok(n) if n > 0 => {
                            if news.send(News::Bytes(link, bytes[..n].to_vec())).is_err() {
                                return;
                            }
                        }
                        Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                        _ => {
                            let _ = news.send(News::Closed(link));
                            return;
                        }
                    }
                }
            });
        }
    });
}
