//! Who may ask: hosts, origins, tokens, types, sizes, names.

use serde_json::json;

use super::client::{Desk, folder};
use crate::command::TestFolder;

const EDIT: &[u8] = b"{\"edit\":{\"kind\":\"use\",\"row\":3,\"use\":false}}";

#[test]
fn other_names_for_this_computer_are_refused() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let port = desk.address.rsplit_once(':').unwrap().1;
    for host in [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1.evil.example:{port}"),
        format!("0.0.0.0:{port}"),
    ] {
        for path in [
            "/",
            "/api/state",
            "/api/events",
            "/assets/desk.css",
            "/none",
        ] {
            let answer = desk.ask(&format!("GET {path}"), &[("Host", &host)], b"");
            assert_eq!(answer.status, 421, "{host} {path}");
        }
    }
    // Twice, or not at all.
    let twice = [("Host", desk.address.as_str()), ("Host", "evil.example")];
    assert!(desk.ask("GET /api/state", &twice, b"").status >= 400);
    assert!(desk.ask("GET /api/state", &[], b"").status >= 400);
    let local = format!("localhost:{port}");
    assert_eq!(desk.ask("GET /", &[("Host", &local)], b"").status, 200);
}

#[test]
fn only_the_desk_s_own_page_may_change_anything() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let own = format!("http://{}", desk.address);
    let all = [
        ("Host", desk.address.as_str()),
        ("Origin", own.as_str()),
        ("Content-Type", "application/json"),
        ("X-Desk", "1"),
    ];
    for missing in 1..all.len() {
        let mut headers = all.to_vec();
        headers.remove(missing);
        let answer = desk.ask("POST /api/edit", &headers, EDIT);
        assert!(
            [403, 415].contains(&answer.status),
            "without {}: {}",
            all[missing].0,
            answer.status
        );
    }
    for (name, wrong, status) in [
        ("Origin", "http://evil.example", 403),
        ("Origin", "null", 403),
        ("Origin", "https://127.0.0.1", 403),
        ("Content-Type", "text/plain", 415),
        ("Content-Type", "application/x-www-form-urlencoded", 415),
        ("Content-Type", "multipart/form-data; boundary=x", 415),
        ("X-Desk", "2", 403),
    ] {
        let headers = all.map(|(n, value)| (n, if n == name { wrong } else { value }));
        assert_eq!(
            desk.ask("POST /api/edit", &headers, EDIT).status,
            status,
            "{name}: {wrong}"
        );
    }
    // As other pages fetch: the stream, pictures, the state.
    for path in ["/api/events", "/api/picture/sky.svg", "/api/state"] {
        for (name, value) in [
            ("Origin", "http://evil.example"),
            ("Sec-Fetch-Site", "cross-site"),
            ("Sec-Fetch-Site", "same-site"),
        ] {
            let headers = [("Host", desk.address.as_str()), (name, value)];
            assert_eq!(
                desk.ask(&format!("GET {path}"), &headers, b"").status,
                403,
                "{path} {name}"
            );
        }
    }
    assert_eq!(desk.state()["version"], 0);
    assert_eq!(desk.ask("POST /api/edit", &all, EDIT).status, 200);
    assert_eq!(desk.ask("GET /api/edit", &[all[0]], b"").status, 405);
    assert_eq!(desk.ask("POST /api/state", &all, b"{}").status, 405);
}

#[test]
fn every_answer_bears_the_policy() {
    let folder = folder();
    let desk = Desk::on(&folder);
    for path in [
        "/",
        "/assets/main.js",
        "/api/state",
        "/api/picture/sky.svg",
        "/none",
        "/api/passes",
    ] {
        let answer = desk.get(path);
        for header in [
            "content-security-policy: default-src 'none'; script-src 'self'; style-src 'self'; \
             img-src 'self' data:; connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; \
             frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
        ] {
            assert!(answer.head.contains(header), "{path}: {}", answer.head);
        }
    }
}

#[test]
fn in_the_network_everything_of_the_session_needs_the_token() {
    let folder = folder();
    let desk = Desk::with(folder.root(), &["--lan"]);
    let token = desk.token.clone().unwrap();
    assert_eq!(token.len(), 32);
    assert!(token.bytes().all(|b| b.is_ascii_hexdigit()));
    let host = ("Host", desk.address.as_str());
    let wrong = "0".repeat(32);
    for path in [
        "/api/state",
        "/api/events",
        "/api/next",
        "/api/picture/sky.svg",
    ] {
        assert_eq!(
            desk.ask(&format!("GET {path}"), &[host], b"").status,
            401,
            "{path}"
        );
        for said in ["", "x", &token[1..], &wrong] {
            let headers = [host, ("X-Desk-Token", said)];
            assert_eq!(
                desk.ask(&format!("GET {path}?token={said}"), &headers, b"")
                    .status,
                401,
                "{path}"
            );
        }
    }
    assert_eq!(desk.ask("GET /", &[host], b"").status, 200);
    assert_eq!(desk.ask("GET /assets/main.js", &[host], b"").status, 200);
    assert_eq!(
        desk.ask(&format!("GET /api/state?token={token}"), &[host], b"")
            .status,
        200
    );
    assert_eq!(desk.get("/api/state").status, 200);
    assert_eq!(desk.events().next("changed")["version"], 0);
    // The token is no secret to the page, but nothing else may change anything with it.
    let headers = [
        host,
        ("X-Desk-Token", token.as_str()),
        ("Content-Type", "application/json"),
        ("X-Desk", "1"),
    ];
    assert_eq!(desk.ask("POST /api/edit", &headers, EDIT).status, 403);
    // A name that a name server could give is refused here too.
    let port = desk.address.rsplit_once(':').unwrap().1;
    let evil = format!("evil.example:{port}");
    assert_eq!(
        desk.ask(
            &format!("GET /api/state?token={token}"),
            &[("Host", &evil)],
            b""
        )
        .status,
        421
    );
    // Two desks have two tokens.
    let other = super::client::folder();
    assert_ne!(
        Desk::with(other.root(), &["--lan"]).token.as_ref(),
        Some(&token)
    );
}

#[test]
fn without_lan_only_this_computer_is_answered() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let port: u16 = desk.address.rsplit_once(':').unwrap().1.parse().unwrap();
    let socket = std::net::UdpSocket::bind("0.0.0.0:0").unwrap();
    // Only a computer with a network has another address.
    if socket.connect("192.0.2.1:9").is_ok()
        && let Ok(own) = socket.local_addr()
        && !own.ip().is_loopback()
    {
        assert!(
            std::net::TcpStream::connect((own.ip(), port)).is_err(),
            "{own}"
        );
    }
}

#[test]
fn large_bodies_and_paths_out_of_the_folder_are_refused() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let large = vec![b' '; (64 << 10) + 1];
    assert_eq!(
        desk.post_bytes("/api/edit", "application/json", &large)
            .status,
        413
    );
    for path in [
        "/assets/..%2f..%2fCargo.toml",
        "/assets/../../Cargo.toml",
        "/assets/%2e%2e/index.html",
        "/api/picture/..%2f..%2fstation.toml",
        "/station.toml",
        "/api/picture/%00.svg",
        "//etc/passwd",
    ] {
        let answer = desk.get(path);
        assert!(
            [400, 404].contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        assert!(!answer.text().contains("[site]"));
    }
    let outside = folder.root().parent().unwrap().join("outside.csv");
    for file in [
        "../outside.csv",
        "/etc/passwd",
        "station.toml/..",
        ".",
        "",
        "..\\outside.csv",
        "desk-edits.jsonl\0.csv",
    ] {
        let problem = desk.refused(&json!({ "kind": "import", "file": file }));
        assert!(
            problem.contains("no file in the folder"),
            "{file:?}: {problem}"
        );
        let again = desk.post(
            "/api/import-answer",
            &json!({ "file": file, "options": {} }),
        );
        assert_eq!(again.status, 422, "{file:?}");
    }
    assert!(!outside.exists());
}

/// What a hostile log holds reaches the page as text in JSON and in pictures as escaped text, never as
/// a piece of either.
#[test]
fn hostile_names_are_data() {
    let evil = "</script><script>alert(1)</script>\u{202e}\u{1b}[31m&\"'";
    let folder = folder();
    let name = "</script><script>alert(1)</script>&'<b>";
    let station = folder.read("station.toml").replace("Reedmere", name);
    folder.write("station.toml", &station);
    let desk = Desk::on(&folder);
    desk.edit(
        &json!({ "kind": "add_peak", "time_utc": "2026-09-12T12:00:00Z", "emitter": "sun",
        "azimuth": "188.9", "elevation": "42.5", "note": evil }),
    );
    let answer = desk.get("/api/state");
    assert!(answer.head.contains("content-type: application/json"));
    let state = desk.state();
    assert_eq!(state["title"], name);
    let added = state["peaks"].as_array().unwrap().last().unwrap();
    let note = added["note"].as_str().unwrap();
    assert!(note.contains("<script>"), "{note}");
    assert!(
        !note.contains('\u{1b}') && !note.contains('\u{202e}'),
        "{note}"
    );
    for picture in state["pictures"].as_array().unwrap() {
        let svg = desk
            .get(&format!(
                "/api/picture/{}.svg",
                picture["stem"].as_str().unwrap()
            ))
            .text();
        assert!(
            !svg.contains("<script") && !svg.contains('\u{1b}'),
            "{}",
            picture["stem"]
        );
    }
    let map = desk.get("/api/map.svg").text();
    assert!(!map.contains("<script"), "{map}");
    let said = desk.refused(&json!({ "kind": "add_peak", "time_utc": evil, "emitter": evil, "azimuth": "1", "elevation": "1" }));
    assert!(
        !said.contains('\u{1b}') && !said.contains('\u{202e}'),
        "{said:?}"
    );
}

#[test]
fn wrong_uses_are_said() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    assert!(
        folder
            .said(&["desk", "none.csv", "--no-browser"], 3)
            .contains("none.csv")
    );
    assert!(
        folder
            .said(&["desk", "--no-browser", "--station", "none.toml"], 3)
            .contains("none.toml")
    );
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let said = folder.said(&["desk", "--no-browser", "--port", &port], 2);
    assert!(said.contains(&port) && said.contains("--port"), "{said}");
    assert!(
        !folder.path("desk-edits.jsonl").exists(),
        "nothing is begun"
    );
}
