//! What is printed, with the real program and a real browser: the sheet for a sitter and the curve for a vet.

use std::path::Path;
use std::process::Command;

use crate::stands::house::{House, csv};

/// A household with all that a sheet can say, names that try to be markup, and a scanned sensor.
fn household() -> House {
    House::with_config(
        r#"
[home]
timezone = "Europe/Vienna"
[[cat]]
name = "pepper"
called = "Pepper <script>document.title = 'broken'</script>"
[cat.plan]
low = 70
danger = 50
meter_low = 60
high = 300
hold_dose_under = 150
on_low = "Offer food and call us. <img src=x onerror=alert(1)>"
vet_phone = "555 0100"
out_of_hours_phone = "555 0199"
in_words = "Half a tin before each injection. The insulin is in the door of the fridge; turn it ten times, do not shake it."
[cat.doses]
times = ["07:00", "19:00"]
[intake.folder]
path = "inbox"
rescan_seconds = 1
[notify.ntfy]
server = "http://127.0.0.1:9"
[[person]]
name = "owner"
called = "Olive"
ntfy = "x7k2m9qf4td8wz3h"
phone = "555 0123"
quiet = "22:30-06:30"
[[person]]
name = "sitter"
called = "Sam"
ntfy = "x7k2m9qf4td8wz3i"
phone = "555 0124"
language = "de"
quiet = "22:30-06:30"
[[person]]
name = "neighbour"
called = "Camille"
ntfy = "x7k2m9qf4td8wz3j"
language = "fr"
units = "mmol/L"
"#,
    )
}

/// Drops two days of readings, with doses, meter checks and a sensor, into the folder of a running daemon.
pub(crate) async fn lived() -> House {
    let mut house = household();
    house.start().await;
    let now = crate::stands::house::now();
    let ago = |minutes: f64| now - lowtide::words::minutes(minutes);
    house.drop_file("sensor.csv", &format!("at,event\n{},applied\n{},applied\n", ago(4000.0), ago(1600.0)));
    let doses: Vec<String> =
        (0..4).map(|n| format!("{},1.5,Sam", ago(2900.0 - f64::from(n) * 720.0))).collect();
    house.drop_file("doses.csv", &format!("given_at,units,by\n{}\n", doses.join("\n")));
    // The readings rise by 7 mg/dL each quarter of an hour from 120 to 269 and begin again.
    let mut checks: Vec<String> =
        (0..6).map(|n| format!("{},180,mg/dL,pet", ago(2003.0 - f64::from(n) * 300.0))).collect();
    checks.push(format!("{},150,mg/dL,human", ago(323.0)));
    checks.push(format!("{},120,mg/dL,whole-blood", ago(308.0)));
    house.drop_file("checks.csv", &format!("measured_at,glucose,unit,meter\n{}\n", checks.join("\n")));
    let values: Vec<String> = (0..192).map(|n| (120 + (n * 7) % 150).to_string()).collect();
    let rows: Vec<(f64, &str)> =
        values.iter().enumerate().map(|(n, value)| (2890.0 - n as f64 * 15.0, value.as_str())).collect();
    house.drop_file("readings.csv", &csv(&rows));
    house
        .until("all is read", || {
            ["sensor.csv", "doses.csv", "checks.csv", "readings.csv"]
                .iter()
                .all(|name| house.path("done").join(name).exists())
        })
        .await;
    house
}

pub(crate) fn chromium(house: &House, arguments: &[&str], page: &Path) -> Vec<u8> {
    let profile = format!("--user-data-dir={}", house.path("browser").display());
    let output = Command::new("chromium")
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            "--no-pdf-header-footer",
            &profile,
        ])
        .args(arguments)
        .arg(format!("file://{}", page.display()))
        .output()
        .expect("chromium must be installed: tests/run.sh does it");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// The page after a browser has read it.
fn read_by_browser(house: &House, page: &Path) -> String {
    String::from_utf8(chromium(house, &["--dump-dom"], page)).unwrap()
}

/// Sheets of A4 that a browser makes of it.
fn printed_pages(house: &House, page: &Path) -> usize {
    let pdf = house.path("printed.pdf");
    chromium(house, &[&format!("--print-to-pdf={}", pdf.display())], page);
    let bytes = std::fs::read(pdf).unwrap();
    let text = String::from_utf8_lossy(&bytes);
    text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
}

/// How wide the page becomes on a phone that is 360 points wide, and how high the smallest letters of a picture are, if
/// there is one.
fn on_a_phone(house: &House, page: &Path) -> (f64, f64) {
    let inside = std::fs::read_to_string(page).unwrap().replace('&', "&amp;").replace('"', "&quot;");
    let around = format!(
        "<!doctype html><iframe id=\"phone\" style=\"width:360px;height:800px;border:0\" srcdoc=\"{inside}\"></iframe>\
         <script>phone.onload = () => {{ const page = phone.contentDocument.documentElement; \
         const letters = [...page.querySelectorAll('svg text')].map((text) => text.getBoundingClientRect().height); \
         document.title = [page.scrollWidth, Math.min(99, ...letters)].join(' '); }};</script>"
    );
    let wrapper = house.path("phone.html");
    std::fs::write(&wrapper, around).unwrap();
    let read =
        String::from_utf8(chromium(house, &["--virtual-time-budget=5000", "--dump-dom"], &wrapper)).unwrap();
    let title = read.split("<title>").nth(1).unwrap_or_else(|| panic!("{read}")).split('<').next().unwrap();
    let sizes: Vec<f64> = title.split(' ').map(|size| size.parse().unwrap()).collect();
    (sizes[0], sizes[1])
}

#[tokio::test(flavor = "multi_thread")]
async fn sheet_and_curve_come_out_of_the_record_and_print_well() {
    let house = lived().await;
    let status = house.said(&["status"]);
    assert!(status.contains("By 5 meter checks (meter for pets: 4, meter for people: 1)"), "{status}");
    assert!(
        status.contains("The blood estimate does not use one check with a whole-blood meter."),
        "{status}"
    );
    for (who, words, kinds) in [
        ("owner", "a sheet for Olive", "(meter for pets: 4, meter for people: 1)"),
        ("sitter", "Zettel für Sam", "(Messgerät für Tiere: 4, Messgerät für Menschen: 1)"),
        ("neighbour", "fiche pour Camille", "(lecteur pour animaux : 4, lecteur pour humains : 1)"),
    ] {
        let page = house.path(&format!("{who}.html"));
        house.said(&["report", "--for-sitter", "--person", who, "--out", page.to_str().unwrap()]);
        let read = read_by_browser(&house, &page);
        assert!(read.contains(words) && read.contains("555 0199"), "{read}");
        assert!(read.contains(kinds), "{read}");
        assert!(
            !read.contains("<script") && !read.contains("<img") && !read.contains("<title>broken"),
            "{read}"
        );
        // Paper is for a cat with a name, not for a trick.
        let (named, trick) = (
            house.path("named.html"),
            "Pepper &lt;script&gt;document.title = &#39;broken&#39;&lt;/script&gt;",
        );
        let text = std::fs::read_to_string(&page).unwrap();
        assert!(text.contains(trick), "{text}");
        std::fs::write(&named, text.replace(trick, "Pepper")).unwrap();
        let pages = printed_pages(&house, &named);
        assert!((1..=2).contains(&pages), "{who}: {pages} pages");
        assert_eq!(on_a_phone(&house, &page).0, 360.0, "{who}");
        assert!(read.contains("<a href=\"tel:5550199\">555 0199</a>"), "{read}");
        assert!(read.contains("<a href=\"tel:5550123\">555 0123</a>"), "{read}");
    }
    let page = house.path("curve.html");
    let out = page.to_str().unwrap();
    house.said(&["report", "--out", out]);
    let read = read_by_browser(&house, &page);
    assert!(read.contains("From dose to dose") && read.matches("<polyline").count() >= 5, "{read}");
    assert!(!read.contains("<script") && !read.contains("<title>broken"), "{read}");
    let kinds =
        ["meter for pets</th><td data-name=\"Pairs\">6<", "meter for people</th><td data-name=\"Pairs\">1<"];
    assert!(kinds.iter().all(|kind| read.contains(kind)), "{read}");
    assert_eq!(read.matches("meter for pets, sensor put on").count(), 2, "{read}");
    let (width, letters) = on_a_phone(&house, &page);
    assert_eq!(width, 360.0);
    assert!(letters >= 9.0, "letters {letters} points high in a picture");
    let table = house.path("curve.csv");
    house.said(&[
        "report",
        "--from",
        "2020-01-01 00:00",
        "--to",
        "2020-01-02 00:00",
        "--out",
        table.to_str().unwrap(),
    ]);
    let text = std::fs::read_to_string(&table).unwrap();
    assert!(text.starts_with("kind,cat,from,until,") && text.contains("\r\ntotal,pepper,"), "{text}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_needs_no_daemon_and_says_what_it_cannot_do() {
    let house = household();
    house.said(&["log", "dose", "--by", "Sam"]);
    let page = house.path("sheet.html");
    house.said(&["report", "--for-sitter", "--out", page.to_str().unwrap()]);
    let text = std::fs::read_to_string(&page).unwrap();
    assert!(text.contains("Zettel für Sam"), "the first who does not keep Lowtide: {text}");
    assert!(text.contains("von Sam"), "{text}");
    for (arguments, words) in [
        (&["report", "--out", "x.pdf"][..], "print it to a PDF"),
        (&["report", "--out", "x.docx"], "F.html"),
        (&["report", "--for-sitter", "--out", "x.csv"], "F.html"),
        (&["report", "--from", "2020-01-02 00:00", "--to", "2020-01-01 00:00", "--out", "x.csv"], "before"),
        (&["report", "--for-sitter", "--person", "nobody", "--out", "x.html"], "there is no person 'nobody'"),
        (&["report", "--out", "/nowhere/x.html"], "cannot write /nowhere/x.html"),
    ] {
        let output = house.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!output.status.success() && said.contains(words), "{arguments:?}: {said}");
    }
}
