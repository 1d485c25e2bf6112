//! The web page, made of what the real program has recorded, in a real browser.

use lowtide::record::Record;
use lowtide::report::{
    Ask, Happened, PAGE_STYLE, PageSeat, ask_page, history_page, now_page, password_page, record_page,
    sensors_page,
};
use lowtide::turn::{House, recall};
use lowtide::words::{Event, Telling};

use crate::report::{chromium, lived};
use crate::stands::house::{self, csv, now};

/// What a browser makes of a page on a phone that is 360 points wide: how wide the page becomes, how high the smallest
/// letters of a picture are, how high the smallest thing to press or fill in, how large the smallest letters in a field.
fn on_a_phone(house: &house::House, page: &str) -> [f64; 4] {
    let styled =
        page.replace("<link rel=\"stylesheet\" href=\"/page.css\">", &format!("<style>{PAGE_STYLE}</style>"));
    assert_ne!(styled, page, "the page has no style");
    let inside = styled.replace('&', "&amp;").replace('"', "&quot;");
    let around = format!(
        "<!doctype html><iframe id=\"phone\" style=\"width:360px;height:800px;border:0\" srcdoc=\"{inside}\"></iframe>\
         <script>phone.onload = () => {{ const page = phone.contentDocument.documentElement; \
         const all = (what) => [...page.querySelectorAll(what)]; \
         all('details').forEach((part) => {{ part.open = true; }}); \
         const heights = (what) => all(what).map((part) => part.getBoundingClientRect().height); \
         const letters = (part) => parseFloat(phone.contentWindow.getComputedStyle(part).fontSize); \
         document.title = [page.scrollWidth, Math.min(99, ...heights('svg text')), \
         Math.min(99, ...heights('button, a, summary, select, textarea, input:not([type=hidden])')), \
         Math.min(99, ...all('select, textarea, input:not([type=hidden])').map(letters))].join(' '); }};</script>"
    );
    let wrapper = house.path("phone.html");
    std::fs::write(&wrapper, around).unwrap();
    let read = chromium(house, &["--virtual-time-budget=5000", "--dump-dom"], &wrapper);
    let read = String::from_utf8(read).unwrap();
    let title = read.split("<title>").nth(1).unwrap_or_else(|| panic!("{read}")).split('<').next().unwrap();
    let sizes: Vec<f64> = title.split(' ').map(|size| size.parse().unwrap()).collect();
    sizes.try_into().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_fits_a_phone_and_can_be_pressed() {
    let mut house = lived().await;
    house.drop_file("low.csv", &csv(&[(20.0, "62"), (10.0, "48"), (0.0, "44")]));
    house.said(&["log", "note", "looks tired, and has left half of the food"]);
    house.until("the low is read", || house.path("done/low.csv").exists()).await;
    house.until("it is told", || house.said(&["status"]).contains("critical")).await;
    house.stop();
    let entries: Vec<_> = Record::entries(&house.path("data")).map(Result::unwrap).collect();
    let mut present = House::default();
    entries.iter().for_each(|entry| recall(&mut present, &entry.event, &entry.said, entry.at));
    let happened: Vec<Happened<'_>> = entries
        .iter()
        .map(|entry| Happened { at: entry.at, event: &entry.event, said: &entry.said })
        .collect();
    let household = present.household.clone().unwrap();
    let cat = household.cats[0].name.clone();
    let notes = entries.iter().filter_map(|entry| match &entry.event {
        Event::Sensor(note) => Some(note.clone()),
        _ => None,
    });
    let notes = [(cat.clone(), notes.collect())];
    for person in &household.persons {
        let notice = Telling::new("page-blood-old");
        let seat = PageSeat { house: &present, person, now: now(), notice: Some(&notice), locked: true };
        let held = seat.now;
        let ask = Ask { cat: cat.clone(), held, at: "07:05".into(), units: "1".into() };
        let pages = [
            ("now", now_page(&seat)),
            ("record", record_page(&seat)),
            ("ask", ask_page(&seat, &ask)),
            ("history", history_page(&seat, &happened, 3)),
            ("sensors", sensors_page(&seat, &notes)),
            ("enter", password_page(&person.language, None, Some(Telling::new("page-blood-old")))),
        ];
        assert!(
            pages[0].1.contains("class=\"open critical\"") && pages[0].1.contains("<svg"),
            "{}",
            pages[0].1
        );
        assert!(pages[3].1.contains("looks tired"), "{}", pages[3].1);
        for (name, page) in pages {
            let [wide, picture, press, field] = on_a_phone(&house, &page);
            let who = &person.name;
            assert_eq!(wide, 360.0, "{who}: {name} goes over the edge");
            assert!(picture >= 11.0, "{who}: {name} has letters {picture} points high in its picture");
            assert!(press >= 44.0, "{who}: {name} has something to press that is {press} points high");
            assert!(field >= 16.0, "{who}: {name} has a field with letters of {field} points");
        }
    }
}
