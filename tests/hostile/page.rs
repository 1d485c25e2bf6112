//! The page as its enemies would ask: spoilt requests, and many who connect and say nothing.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::time::Duration;

use crate::mutate::{drawn, mutated};
use crate::stands::house::{House, free_port};

async fn household() -> (House, u16) {
    let port = free_port();
    let mut house = House::new(&format!(
        "[page]\nlisten = \"127.0.0.1:{port}\"\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n\
         [[person]]\nname = \"owner\"\nntfy = \"x7k2m9qf4td8wz3h\"\n"
    ));
    house.start().await;
    house.until("the page is there", || house.log().contains("the page is at")).await;
    (house, port)
}

/// What is answered to these bytes, until the line is closed or nothing more comes.
fn asked(port: u16, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    // The page may have closed the line before all of it was sent.
    let _ = stream.write_all(bytes);
    let _ = stream.shutdown(std::net::Shutdown::Write);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn get(port: u16, path: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n").into_bytes()
}

fn form(port: u16, path: &str, body: &str) -> Vec<u8> {
    format!(
        "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
    .into_bytes()
}

#[tokio::test(flavor = "multi_thread")]
async fn spoilt_requests_of_browsers_keep_nothing_strange_and_stop_nothing() {
    let (mut house, port) = household().await;
    let samples = vec![
        get(port, "/"),
        get(port, "/history?days=7"),
        get(port, "/curve?cat=pepper&days=14"),
        get(port, "/?said=1"),
        form(port, "/dose", "cat=pepper&at=&units=1.5&again=1"),
        form(port, "/meter", "cat=pepper&glucose=112&meter=pet&at=06%3A15"),
        form(port, "/sensor", "cat=pepper&event=applied&at=2026-03-01T06%3A15"),
        form(port, "/note", "cat=pepper&text=ate%20half&at="),
        form(port, "/answer", "finding=pepper%2Flow-now%2F1772345700&verdict=taken"),
        form(port, "/person", "person=owner"),
    ];
    for sample in &samples {
        let answer = asked(port, sample);
        assert!(answer.starts_with("HTTP/1.1 200") || answer.starts_with("HTTP/1.1 303"), "{answer}");
    }
    for bytes in drawn(mutated(samples), 300) {
        let answer = asked(port, &bytes);
        assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 "), "{answer}");
        assert!(!answer.contains("<script"), "{answer}");
    }
    for line in house.said(&["export"]).lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        let event = &entry["event"];
        assert!(event["cat"].is_null() || event["cat"] == "pepper", "{line}");
        assert!(event["what"] != "answer" || event["person"] == "owner", "{line}");
    }
    assert!(asked(port, &get(port, "/healthz")).ends_with("ok\n"));
    house.stop();
    assert!(lowtide::record::Record::verify(&house.path("data")).is_sound());
    let log = house.log();
    assert!(!log.contains("a fault in the program") && !log.contains("panicked"), "{log}");
}

/// A phone that went out of reach, or a program that means harm: lines that say nothing end by themselves.
#[tokio::test(flavor = "multi_thread")]
async fn lines_that_say_nothing_do_not_keep_others_out_for_good() {
    let (house, port) = household().await;
    let idle: Vec<TcpStream> =
        (0..300).map(|_| TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap()).collect();
    for mut stream in idle.iter().take(100) {
        stream.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
    }
    let answer = tokio::task::spawn_blocking(move || asked(port, &get(port, "/healthz"))).await.unwrap();
    assert!(answer.ends_with("ok\n"), "{answer} {}", house.log());
    drop(idle);
}
