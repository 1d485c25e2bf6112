//! The page of the real program, asked as browsers ask: what it shows, what it takes in, and whom it refuses.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, TcpListener};
use std::process::Stdio;

use reqwest::header::{COOKIE, HOST, LOCATION, ORIGIN, SET_COOKIE};
use reqwest::{Client, Response, StatusCode};

use lowtide::words::minutes;

use crate::stands::house::{House, csv, free_port, now, program};
use crate::stands::smtp::python_with;

/// A household with a page, and a browser that follows nowhere by itself.
struct Visit {
    house: House,
    port: u16,
    client: Client,
    cookies: BTreeMap<String, String>,
}

impl Visit {
    async fn new(page: &str) -> Self {
        let port = free_port();
        let mut house = House::new(&format!(
            "[page]\n{}\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n\
             [[person]]\nname = \"owner\"\ncalled = \"Olive\"\nntfy = \"x7k2m9qf4td8wz3h\"\n\
             [[person]]\nname = \"sitter\"\ncalled = \"Sam\"\nntfy = \"x7k2m9qf4td8wz3i\"\nlanguage = \"de\"\nunits = \"mmol/L\"\n",
            page.replace("PORT", &port.to_string())
        ));
        std::fs::write(house.path("page-password"), "a b c d e f g h\n").unwrap();
        house.start().await;
        lowtide::tls::install_provider();
        let client = Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        let visit = Self { house, port, client, cookies: BTreeMap::new() };
        for _ in 0..600 {
            if visit.client.get(visit.url("/healthz")).send().await.is_ok() {
                return visit;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        panic!("no page came: {}", visit.house.log());
    }

    fn url(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }

    fn cookies(&self) -> String {
        self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join("; ")
    }

    fn keep(&mut self, response: &Response) {
        for cookie in response.headers().get_all(SET_COOKIE) {
            let pair = cookie.to_str().unwrap().split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.insert(name.to_owned(), value.to_owned());
        }
    }

    async fn get(&self, path: &str) -> Response {
        self.client.get(self.url(path)).header(COOKIE, self.cookies()).send().await.unwrap()
    }

    async fn text(&self, path: &str) -> String {
        let response = self.get(path).await;
        assert_eq!(response.status(), StatusCode::OK, "{path}");
        response.text().await.unwrap()
    }

    /// Sends a form as a page of this address does.
    async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Response {
        let origin = format!("http://127.0.0.1:{}", self.port);
        let body =
            fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect::<Vec<_>>();
        let request = self.client.post(self.url(path)).header(COOKIE, self.cookies()).header(ORIGIN, origin);
        let request = request.header("content-type", "application/x-www-form-urlencoded");
        let response = request.body(body.join("&")).send().await.unwrap();
        self.keep(&response);
        response
    }

    /// The same, and what the page says that follows.
    async fn posted(&mut self, path: &str, fields: &[(&str, &str)]) -> String {
        let response = self.post(path, fields).await;
        assert_eq!(response.status(), StatusCode::SEE_OTHER, "{path} {fields:?}");
        let to = response.headers()[LOCATION].to_str().unwrap().to_owned();
        self.text(&to).await
    }

    fn events(&self, what: &str) -> Vec<serde_json::Value> {
        let export = self.house.said(&["export"]);
        let entries = export.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
        entries.map(|entry| entry["event"].clone()).filter(|event| event["what"] == what).collect()
    }
}

/// As forms are sent: WHATWG URL standard, application/x-www-form-urlencoded.
fn encoded(text: &str) -> String {
    let letter = |byte: u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'*' | b'-' | b'.' | b'_' => char::from(byte).to_string(),
        b' ' => "+".to_owned(),
        byte => format!("%{byte:02X}"),
    };
    text.bytes().map(letter).collect()
}

const LOOPBACK: &str = "listen = \"127.0.0.1:PORT\"";

#[tokio::test(flavor = "multi_thread")]
async fn a_dose_is_recorded_once_and_a_second_one_is_asked_about() {
    let mut visit = Visit::new(LOOPBACK).await;
    let page = visit.posted("/dose", &[("cat", "pepper"), ("at", ""), ("units", "1,5")]).await;
    assert!(page.contains("Kept for Pepper: a dose"), "{page}");
    let asked = visit.post("/dose", &[("cat", "pepper"), ("at", ""), ("units", "")]).await;
    assert_eq!(asked.status(), StatusCode::OK);
    let asked = asked.text().await.unwrap();
    assert!(asked.contains("again"), "{asked}");
    assert_eq!(visit.events("dose").len(), 1);
    let dose = &visit.events("dose")[0];
    assert_eq!((&dose["units"], &dose["by"]), (&1.5.into(), &"owner".into()));
    let given_at = dose["given_at"].as_str().unwrap().to_owned();
    let page = visit.posted("/undose", &[("cat", "pepper"), ("given_at", &given_at)]).await;
    assert!(page.contains("Taken back for Pepper: the dose"), "{page}");
    // It is gone, so the next one is no second one.
    let page = visit.posted("/dose", &[("cat", "pepper"), ("at", ""), ("units", "")]).await;
    assert!(page.contains("Kept for Pepper: a dose"), "{page}");
    visit.posted("/dose", &[("cat", "pepper"), ("at", ""), ("units", ""), ("again", "1")]).await;
    let told = visit.house.said(&["history"]);
    assert!(told.contains("dose-twice opened"), "{told}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_button_that_is_pressed_twice_is_one_press() {
    let mut visit = Visit::new(LOOPBACK).await;
    for (path, what, fields) in [
        ("/dose", "dose", [("cat", "pepper"), ("at", ""), ("units", "1")]),
        ("/note", "note", [("cat", "pepper"), ("at", ""), ("text", "ate half")]),
    ] {
        let first = visit.posted(path, &fields).await;
        let second = visit.posted(path, &fields).await;
        assert!(first.contains("Kept for") && second.contains("Kept for"), "{path}: {first} {second}");
        assert_eq!(visit.events(what).len(), 1, "{what}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_is_of_whoever_its_page_was_shown_to() {
    let mut visit = Visit::new(LOOPBACK).await;
    // The page was the sitter's, in mmol/L; the owner has been chosen in another tab since.
    visit.posted("/person", &[("person", "owner")]).await;
    let check = [("cat", "pepper"), ("glucose", "25"), ("meter", "pet"), ("at", "")];
    visit.posted("/meter", &[&check[..], &[("person", "sitter")]].concat()).await;
    let kept = visit.events("meter").pop().unwrap();
    // 25 mmol/L by the molar mass of glucose, and no 25 mg/dL.
    assert!((kept["glucose"].as_f64().unwrap() - 450.4).abs() < 0.1, "{kept}");
    visit.posted("/note", &[("cat", "pepper"), ("text", "slept"), ("at", ""), ("person", "sitter")]).await;
    assert_eq!(visit.events("note")[0]["by"], "sitter");
    let page = visit.posted("/note", &[("cat", "pepper"), ("text", "x"), ("person", "gone")]).await;
    assert!(page.contains("Do it again from this page") && visit.events("note").len() == 1, "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_button_of_an_old_page_is_not_said_to_have_done_what_it_did_not() {
    let mut visit = Visit::new(LOOPBACK).await;
    let old = (now() - minutes(180.0)).millis() / 1000;
    let page = visit
        .posted("/answer", &[("finding", &format!("pepper/dose-late/{old}")), ("verdict", "given")])
        .await;
    assert!(page.contains("That button belongs to an earlier dose") && !page.contains("Kept for"), "{page}");
    let page =
        visit.posted("/answer", &[("finding", &format!("pepper/low-now/{old}")), ("verdict", "taken")]).await;
    assert!(page.contains("what it was about is no longer open"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_low_is_answered_on_the_page_by_whoever_looks_at_it() {
    let mut visit = Visit::new(LOOPBACK).await;
    visit.house.drop_file("low.csv", &csv(&[(31.0, "74"), (16.0, "66"), (1.0, "58")]));
    visit.house.until("the low is found", || visit.house.said(&["status"]).contains("low-now")).await;
    let open = visit.house.said(&["status", "--json"]);
    let open: serde_json::Value = serde_json::from_str(&open).unwrap();
    let id = open["cats"][0]["open"][0]["id"].as_str().unwrap().to_owned();
    let page = visit.text("/").await;
    assert!(page.contains(&id) && page.contains("taken") && page.contains("555 0100"), "{page}");
    visit.posted("/person", &[("person", "sitter")]).await;
    let page = visit.posted("/answer", &[("finding", &id), ("verdict", "taken")]).await;
    assert!(page.contains("Deine Antwort ist aufgeschrieben"), "{page}");
    let told = visit.house.said(&["history"]);
    assert!(told.contains("sitter answered 'taken'"), "{told}");
    // In the unit of who looks: 3.2 mmol/L is 57.6 mg/dL by the molar mass of glucose.
    let page =
        visit.posted("/meter", &[("cat", "pepper"), ("glucose", "3,2"), ("meter", "pet"), ("at", "")]).await;
    assert!(page.contains("3,2"), "{page}");
    let check = visit.events("meter").pop().unwrap();
    assert!((check["glucose"].as_f64().unwrap() - 57.65).abs() < 0.01, "{check}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_meant_is_said_and_not_recorded() {
    let mut visit = Visit::new(LOOPBACK).await;
    for (path, fields, said) in [
        ("/meter", vec![("glucose", "4.1"), ("at", "")], "would be very unusual"),
        ("/meter", vec![("glucose", "high-ish"), ("at", "")], "is not a glucose value in mg/dL"),
        ("/meter", vec![("glucose", "90"), ("at", "soon")], "is not a time"),
        ("/meter", vec![("glucose", "90"), ("at", "2999-01-01 10:00")], "is still to come"),
        ("/dose", vec![("units", "NaN"), ("at", "")], "cannot be the units of one dose"),
        ("/dose", vec![("units", "1e9"), ("at", "")], "cannot be the units of one dose"),
        ("/spare", vec![("count", "-1")], "is not a number of sensors"),
        ("/note", vec![("text", "  ")], "The note was empty"),
        ("/sensor", vec![("event", "exploded"), ("at", "")], "Do it again from this page"),
        ("/undose", vec![("given_at", "2026-01-01T07:00:00Z")], "taken back before"),
        ("/unmeter", vec![("measured_at", "2026-01-01T07:00:00Z")], "taken back before"),
    ] {
        let fields: Vec<(&str, &str)> = fields.into_iter().chain([("cat", "pepper")]).collect();
        let page = visit.posted(path, &fields).await;
        assert!(page.contains(said), "{path} {fields:?}: {page}");
    }
    let page = visit.posted("/note", &[("cat", "nobody"), ("text", "x")]).await;
    assert!(page.contains("Do it again from this page"), "{page}");
    for what in ["meter", "dose", "spare", "note", "sensor"] {
        assert_eq!(visit.events(what).len(), 0, "{what}");
    }
    let page =
        visit.posted("/note", &[("cat", "pepper"), ("text", "<script>ate</script> half"), ("at", "")]).await;
    assert!(page.contains("Kept for Pepper: the note"), "{page}");
    let history = visit.text("/history").await;
    assert!(history.contains("&lt;script&gt;ate") && !history.contains("<script"), "{history}");
    for path in ["/", "/record", "/history", "/sensors", "/curve", "/sheet"] {
        let response = visit.get(path).await;
        assert_eq!(response.status(), StatusCode::OK, "{path}");
        let policy = response.headers()["content-security-policy"].to_str().unwrap().to_owned();
        assert!(
            policy.starts_with("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{policy}"
        );
        assert_eq!(response.headers()["cache-control"], "no-store");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_of_somebody_else_can_neither_send_nor_read() {
    let visit = Visit::new(LOOPBACK).await;
    let form = "cat=pepper&text=x";
    for origin in [None, Some("null"), Some("http://evil.example"), Some("http://127.0.0.1:1")] {
        let mut request = visit.client.post(visit.url("/note"));
        request = request.header("content-type", "application/x-www-form-urlencoded").body(form);
        if let Some(origin) = origin {
            request = request.header(ORIGIN, origin);
        }
        assert_eq!(request.send().await.unwrap().status(), StatusCode::FORBIDDEN, "{origin:?}");
    }
    // A name of the internet that points to this machine (DNS rebinding).
    let request = visit.client.get(visit.url("/")).header(HOST, "evil.example");
    assert_eq!(request.send().await.unwrap().status(), StatusCode::MISDIRECTED_REQUEST);
    // Somebody whom a web server in front of it lets through.
    for header in ["forwarded", "x-forwarded-for"] {
        let request = visit.client.get(visit.url("/")).header(header, "192.0.2.7");
        assert_eq!(request.send().await.unwrap().status(), StatusCode::MISDIRECTED_REQUEST, "{header}");
    }
    let request = visit.client.post(visit.url("/note")).header(HOST, "evil.example");
    let request = request.header(ORIGIN, "http://evil.example").body(form);
    assert_eq!(request.send().await.unwrap().status(), StatusCode::MISDIRECTED_REQUEST);
    // As a picture, a frame or a script of another page (Fetch Metadata, W3C); a link is fine.
    for (site, dest, status) in [
        ("cross-site", "image", StatusCode::FORBIDDEN),
        ("cross-site", "iframe", StatusCode::FORBIDDEN),
        ("cross-site", "document", StatusCode::OK),
        ("none", "document", StatusCode::OK),
    ] {
        let request = visit.client.get(visit.url("/curve")).header("sec-fetch-site", site);
        let shown = request.header("sec-fetch-dest", dest).send().await.unwrap();
        assert_eq!(shown.status(), status, "{site} {dest}");
    }
    assert_eq!(visit.events("note").len(), 0);
    let long = visit.client.post(visit.url("/note")).header(ORIGIN, visit.url("").trim_end_matches('/'));
    let long = long.header("content-type", "application/x-www-form-urlencoded");
    let long = long.body(format!("cat=pepper&text={}", "x".repeat(20_000))).send().await.unwrap();
    assert_eq!(long.status(), StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test(flavor = "multi_thread")]
async fn on_the_network_the_password_is_asked_for() {
    let mut visit = Visit::new("listen = \"0.0.0.0:PORT\"\npassword_file = \"page-password\"").await;
    for path in ["/", "/record", "/history", "/sensors", "/curve", "/sheet", "/anything"] {
        let response = visit.get(path).await;
        assert_eq!(response.status(), StatusCode::SEE_OTHER, "{path}");
        assert_eq!(response.headers()[LOCATION], "/enter", "{path}");
    }
    let refused = visit.post("/note", &[("cat", "pepper"), ("text", "x")]).await;
    assert_eq!(
        (refused.status(), &refused.headers()[LOCATION]),
        (StatusCode::SEE_OTHER, &"/enter".parse().unwrap())
    );
    assert_eq!(visit.events("note").len(), 0);
    assert_eq!(visit.get("/metrics").await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(visit.text("/healthz").await, "ok\n");

    let wrong = visit.post("/enter", &[("password", "a b c d e f g i")]).await;
    assert_eq!(wrong.status(), StatusCode::FORBIDDEN);
    assert!(wrong.text().await.unwrap().contains("That is not the password"));
    visit.posted("/enter", &[("password", "a b c d e f g h")]).await;
    assert!(visit.text("/").await.contains("Pepper"));
    let metrics = visit.client.get(visit.url("/metrics")).basic_auth("any", Some("a b c d e f g h"));
    assert_eq!(metrics.send().await.unwrap().status(), StatusCode::OK);

    // A restart asks nobody again; another password asks everybody.
    visit.house.stop();
    visit.house.start().await;
    visit
        .house
        .until("the page is there again", || visit.house.log().matches("the page is at").count() == 2)
        .await;
    assert!(visit.text("/").await.contains("Pepper"));
    visit.house.stop();
    std::fs::write(visit.house.path("page-password"), "another password\n").unwrap();
    visit.house.start().await;
    visit
        .house
        .until("the page is there again", || visit.house.log().matches("the page is at").count() == 3)
        .await;
    assert_eq!(visit.get("/").await.status(), StatusCode::SEE_OTHER);
    let log = visit.house.log();
    assert!(!log.contains("a b c d") && log.contains("a wrong password from 127.0.0.1"), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn guessing_gets_slower() {
    let mut visit = Visit::new("listen = \"0.0.0.0:PORT\"\npassword_file = \"page-password\"").await;
    for guess in 0..6 {
        let answer = visit.post("/enter", &[("password", &guess.to_string())]).await;
        assert_eq!(answer.status(), StatusCode::FORBIDDEN);
    }
    // Whoever guesses is not even told when it is right: neither here nor where machines ask.
    let metrics = visit.client.get(visit.url("/metrics")).basic_auth("any", Some("a b c d e f g h"));
    let metrics = metrics.send().await.unwrap().status();
    let right = visit.post("/enter", &[("password", "a b c d e f g h")]).await;
    let waits = right.text().await.unwrap();
    assert!(waits.contains("Wrong too often") || metrics == StatusCode::UNAUTHORIZED, "{waits}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_port_that_is_taken_does_not_stop_the_watch() {
    let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let port = taken.local_addr().unwrap().port();
    let mut house = House::new(&format!(
        "[page]\nlisten = \"127.0.0.1:{port}\"\n[notify.ntfy]\nserver = \"http://127.0.0.1:9\"\n\
         [[person]]\nname = \"owner\"\nntfy = \"x7k2m9qf4td8wz3h\"\n"
    ));
    house.start().await;
    house.drop_file("low.csv", &csv(&[(31.0, "74"), (16.0, "66"), (1.0, "58")]));
    house.until("the low is found", || house.said(&["status"]).contains("low-now")).await;
    assert!(house.log().contains(&format!("no page: cannot listen on 127.0.0.1:{port}")), "{}", house.log());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_figures_are_read_by_somebody_elses_reader() {
    let visit = Visit::new(LOOPBACK).await;
    visit.house.drop_file("some.csv", &csv(&[(31.0, "174"), (16.0, "166"), (1.0, "158")]));
    visit.house.until("it is read", || visit.house.said(&["status"]).contains("158")).await;
    let figures = visit.text("/metrics").await;
    assert!(figures.contains("lowtide_newest_reading_mg_dl{cat=\"pepper\"} 158\n"), "{figures}");
    // The reference client of that format, from a Debian package.
    let script = "import sys; from prometheus_client.parser import text_string_to_metric_families as read; \
         print(sum(len(family.samples) for family in read(sys.stdin.read())))";
    let path = visit.house.path("figures.txt");
    std::fs::write(&path, &figures).unwrap();
    let output = std::process::Command::new(python_with("prometheus_client"))
        .args(["-c", script])
        .stdin(std::fs::File::open(&path).unwrap())
        .output()
        .unwrap();
    let samples: usize = String::from_utf8(output.stdout).unwrap().trim().parse().unwrap_or_default();
    let lines = figures.lines().filter(|line| !line.starts_with('#')).count();
    assert_eq!(samples, lines, "{}\n{figures}", String::from_utf8_lossy(&output.stderr));
    assert!(lines > 10);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_can_be_looked_at_and_takes_part() {
    let port = free_port();
    let address = format!("127.0.0.1:{port}");
    let mut demo = program();
    let demo = demo.args(["demo", "--page", &address, "--for", "30s"]).stdout(Stdio::piped());
    let demo = demo.spawn().unwrap();
    lowtide::tls::install_provider();
    let client = Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let url = |path: &str| format!("http://{address}{path}");
    let mut page = String::new();
    for _ in 0..200 {
        if let Ok(response) = client.get(url("/")).send().await {
            page = response.text().await.unwrap();
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    assert!(page.contains("Pepper"), "{page}");
    let request = client.post(url("/spare")).header(ORIGIN, url(""));
    let request = request.header("content-type", "application/x-www-form-urlencoded");
    let response = request.body("cat=pepper&count=17").send().await.unwrap();
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    let page = client.get(url("/")).send().await.unwrap().text().await.unwrap();
    assert!(page.contains("17 spare sensors"), "{page}");
    let output = tokio::task::spawn_blocking(move || demo.wait_with_output()).await.unwrap().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success() && text.contains(&url("/")), "{text}");
    assert!(text.contains("gone when the demo ends") && !text.contains("ten minutes"), "{text}");
    let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let refused =
        program().args(["demo", "--page", &taken.local_addr().unwrap().to_string()]).output().unwrap();
    assert!(!refused.status.success());
    assert!(String::from_utf8_lossy(&refused.stderr).contains("cannot show the page"), "{refused:?}");
    let open = program().args(["demo", "--page", "0.0.0.0:7412"]).output().unwrap();
    assert!(String::from_utf8_lossy(&open.stderr).contains("to this machine only"), "{open:?}");
}
