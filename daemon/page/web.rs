//! Each address of the page and what is done there. In: a request that has passed the guard. Out: a page, or the way to one.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Form, Query, Request, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router, middleware};
use tokio::sync::{Mutex, OwnedSemaphorePermit, Semaphore};

use super::entry::{Attempts, cookie};
use super::forms::{Asked, Fields, asked};
use super::guard::{PASS_COOKIE, guard, text};
use super::notices::Notices;
use super::{Ground, Seen};
use crate::intake::Kept;
use crate::record::{Entry, Record};
use crate::report::{
    Happened, History, PAGE_STYLE, PageSeat, SheetFacts, ask_page, curve, curve_page, history_page,
    house_status, metrics_text, now_page, password_page, record_page, sensors_page, trip_sheet, usual_from,
};
use crate::tell::Reader;
use crate::words::{
    Arg, CatName, CatSettings, Event, Household, Moment, Person, PersonName, Telling, Watch, minutes,
};

/// Everything that the pages stand on.
pub(super) struct Web {
    pub(super) ground: Ground,
    pub(super) attempts: Attempts,
    notices: Notices,
    /// Who takes a form in; and the last one.
    hand: Mutex<Option<Sent>>,
    /// Who reads the record: it can be long, and what was read of it large.
    readers: Arc<Semaphore>,
}

/// A form that was taken in.
struct Sent {
    at: Moment,
    person: PersonName,
    path: String,
    fields: Fields,
    said: Telling,
}

/// Who is at the other end.
#[derive(Clone, Copy)]
pub(super) struct Peer(pub(super) IpAddr);

type Shared = State<Arc<Web>>;

/// All addresses.
pub(super) fn pages(ground: Ground) -> Router {
    let web = Arc::new(Web::new(ground));
    let mut router = Router::new()
        .route("/", get(now))
        .route("/record", get(record))
        .route("/history", get(history))
        .route("/sensors", get(sensors))
        .route("/curve", get(vets_curve))
        .route("/sheet", get(sitters_sheet))
        .route("/person", post(person))
        .route("/enter", get(enter).post(entered))
        .route("/leave", post(leave))
        .route("/healthz", get(healthz))
        .route("/metrics", get(metrics))
        .route("/page.css", get(style));
    for path in FORMS {
        router = router.route(path, get(|| async { Redirect::to("/") }).post(take));
    }
    router
        .fallback(|| async { (StatusCode::NOT_FOUND, "there is nothing here; the page is at /\n") })
        .layer(DefaultBodyLimit::max(FORM_BYTES_MOST))
        .layer(middleware::from_fn_with_state(Arc::clone(&web), guard))
        .with_state(web)
}

impl Web {
    fn new(ground: Ground) -> Self {
        let readers = Arc::new(Semaphore::new(READERS_MOST));
        let (attempts, notices) = (Attempts::default(), Notices::default());
        Self { ground, attempts, notices, hand: Mutex::new(None), readers }
    }

    /// A place at the record; whoever comes meanwhile waits.
    async fn place(&self) -> Option<OwnedSemaphorePermit> {
        Arc::clone(&self.readers).acquire_owned().await.ok()
    }

    /// Shows what `page` makes of the house as this browser's person sees it.
    async fn show(
        &self,
        headers: &HeaderMap,
        notice: Option<Telling>,
        page: impl FnOnce(&PageSeat<'_>) -> String,
    ) -> Response {
        let Some(seen) = self.ground.look().await else { return no_answer() };
        self.shown(&seen, headers, notice.as_ref(), page)
    }

    fn shown(
        &self,
        seen: &Seen,
        headers: &HeaderMap,
        notice: Option<&Telling>,
        page: impl FnOnce(&PageSeat<'_>) -> String,
    ) -> Response {
        let Some((_, person)) = who(seen, headers) else { return no_answer() };
        let locked = self.ground.settings.password.is_some();
        Html(page(&PageSeat { house: &seen.house, person, now: seen.now, notice, locked })).into_response()
    }

    /// On to a page that says this.
    fn on(&self, to: &str, said: Telling) -> Response {
        Redirect::to(&format!("{to}?said={}", self.notices.keep(said))).into_response()
    }

    fn said(&self, query: &Fields) -> Option<Telling> {
        self.notices.take(query.get("said")?.parse().ok()?)
    }
}

/// With whose eyes a browser looks: the person chosen there, else the owner.
fn who<'a>(seen: &'a Seen, headers: &HeaderMap) -> Option<(&'a Household, &'a Person)> {
    let household = seen.house.household.as_deref()?;
    let chosen = text(headers, COOKIE.as_str()).and_then(|cookies| cookie(cookies, PERSON_COOKIE));
    let chosen = chosen.and_then(|name| PersonName::new(name).ok());
    let chosen = chosen.and_then(|name| household.person(&name));
    Some((household, chosen.or_else(|| household.person(&household.home.owner))?))
}

fn no_answer() -> Response {
    (StatusCode::SERVICE_UNAVAILABLE, "Lowtide does not answer just now. Try again in a minute.\n")
        .into_response()
}

async fn now(State(web): Shared, headers: HeaderMap, Query(query): Query<Fields>) -> Response {
    web.show(&headers, web.said(&query), now_page).await
}

async fn record(State(web): Shared, headers: HeaderMap, Query(query): Query<Fields>) -> Response {
    web.show(&headers, web.said(&query), record_page).await
}

async fn take(State(web): Shared, uri: Uri, headers: HeaderMap, Form(fields): Form<Fields>) -> Response {
    // On its own: a browser that was pressed twice hangs up on the first, which goes on all the same.
    let taken = async move { taken(&web, uri.path(), &headers, fields).await };
    tokio::spawn(taken).await.unwrap_or_else(|_| no_answer())
}

/// Takes a form in: what it asks for is recorded, and only then is it said to be. One after the other, so that each sees
/// what the one before it came to; the same again at once is the same press.
async fn taken(web: &Web, path: &str, headers: &HeaderMap, fields: Fields) -> Response {
    let mut last = web.hand.lock().await;
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let Some((_, person)) = whose(&seen, headers, &fields) else {
        return web.on("/", Telling::new("page-slip-form"));
    };
    if let Some(sent) = last.as_ref().filter(|sent| sent.is(&seen, person, path, &fields)) {
        return web.on("/", sent.said.clone());
    }
    let (event, said) = match asked(path, &fields, &seen, person) {
        Ok(Asked::Record(event, said)) => (event, said),
        Ok(Asked::Sure(ask)) => {
            let locked = web.ground.settings.password.is_some();
            let seat = PageSeat { house: &seen.house, person, now: seen.now, notice: None, locked };
            return Html(ask_page(&seat, &ask)).into_response();
        }
        Err(slip) => {
            let back = if path == "/answer" { "/" } else { "/record" };
            return web.on(back, slip);
        }
    };
    let kept = web.ground.record(event).await;
    if kept == Some(Kept::Synced) {
        let (person, path, said) = (person.name.clone(), path.to_owned(), said.clone());
        *last = Some(Sent { at: seen.now, person, path, fields, said });
    }
    let (to, said) = came(kept, said);
    web.on(to, said)
}

/// Where to go on, and what to say there, after something was handed in.
fn came(kept: Option<Kept>, said: Telling) -> (&'static str, Telling) {
    match kept {
        Some(Kept::Synced) => ("/", said),
        Some(Kept::Known) => ("/", Telling::new("page-known")),
        Some(Kept::Failed(why)) => ("/record", Telling::new("page-failed").with("reason", Arg::Text(why))),
        None => ("/", Telling::new("page-unsure")),
    }
}

impl Sent {
    fn is(&self, seen: &Seen, person: &Person, path: &str, fields: &Fields) -> bool {
        let apart = (seen.now - self.at).num_seconds().abs();
        let same = self.person == person.name && self.path == path && self.fields == *fields;
        same && apart < ONE_PRESS_SECONDS
    }
}

/// Whose a form is: who the page was shown to that it stood on. Its unit and clock were meant, whoever has been chosen
/// in that browser since.
fn whose<'a>(seen: &'a Seen, headers: &HeaderMap, fields: &Fields) -> Option<(&'a Household, &'a Person)> {
    let Some(name) = fields.get("person") else { return who(seen, headers) };
    let household = seen.house.household.as_deref()?;
    Some((household, household.person(&PersonName::new(name).ok()?)?))
}

async fn history(State(web): Shared, headers: HeaderMap, Query(query): Query<Fields>) -> Response {
    let Some(place) = web.place().await else { return no_answer() };
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let days = query.get("days").and_then(|days| days.parse().ok()).unwrap_or(DAYS_SHOWN).clamp(1, DAYS_MOST);
    let (data, since) = (web.ground.data.clone(), seen.now - minutes(f64::from(days) * 1440.0));
    let read = move || Record::entries_since(&data, since).collect::<Vec<Entry>>();
    let Some(entries) = at_the_record(place, read).await else { return no_answer() };
    let happened: Vec<Happened<'_>> = entries
        .iter()
        .map(|entry| Happened { at: entry.at, event: &entry.event, said: &entry.said })
        .collect();
    web.shown(&seen, &headers, None, |seat| history_page(seat, &happened, days))
}

async fn sensors(State(web): Shared, headers: HeaderMap) -> Response {
    let Some(place) = web.place().await else { return no_answer() };
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let data = web.ground.data.clone();
    let read = move || {
        let events = Record::entries(&data).filter_map(|entry| entry.ok().map(|entry| entry.event));
        events
            .filter_map(|event| if let Event::Sensor(note) = event { Some(note) } else { None })
            .collect::<Vec<_>>()
    };
    let Some(notes) = at_the_record(place, read).await else { return no_answer() };
    let cats = seen.house.household.iter().flat_map(|household| &household.cats);
    let of = |cat: &CatName| notes.iter().filter(|note| note.cat == *cat).cloned().collect();
    let notes: Vec<_> = cats.map(|cat| (cat.name.clone(), of(&cat.name))).collect();
    web.shown(&seen, &headers, None, |seat| sensors_page(seat, &notes))
}

/// The cat that is asked for, or the first.
fn the_cat<'a>(household: &'a Household, query: &Fields) -> Option<&'a CatSettings> {
    match query.get("cat") {
        Some(name) => household.cat(&CatName::new(name).ok()?),
        None => household.cats.first(),
    }
}

/// Reads the record beside everything else. The place is kept until that is done, whether the reader waits for it or not.
async fn at_the_record<T: Send + 'static>(
    place: OwnedSemaphorePermit,
    read: impl FnOnce() -> T + Send + 'static,
) -> Option<T> {
    let reading = move || {
        let _place = place;
        read()
    };
    tokio::task::spawn_blocking(reading).await.ok()
}

/// What the record holds of a cat.
async fn held(web: &Web, place: OwnedSemaphorePermit, cat: &CatName) -> Option<History> {
    let (data, cat) = (web.ground.data.clone(), cat.clone());
    let read = move || History::of(Record::entries(&data).flatten().map(|entry| entry.event), &cat);
    at_the_record(place, read).await
}

async fn vets_curve(State(web): Shared, headers: HeaderMap, Query(query): Query<Fields>) -> Response {
    let Some(place) = web.place().await else { return no_answer() };
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let Some((household, person)) = who(&seen, &headers) else { return no_answer() };
    let Some(cat) = the_cat(household, &query) else { return nobody() };
    let Some(history) = held(&web, place, &cat.name).await else { return no_answer() };
    let reader = Reader::person(person, household, seen.now);
    let from = usual_from(&history, seen.now, reader.zone);
    let found = curve(cat, &history, from, seen.now, reader.zone);
    printed(curve_page(cat, &history, &found, &reader))
}

async fn sitters_sheet(State(web): Shared, headers: HeaderMap, Query(query): Query<Fields>) -> Response {
    let Some(place) = web.place().await else { return no_answer() };
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let Some((household, person)) = who(&seen, &headers) else { return no_answer() };
    let Some(cat) = the_cat(household, &query) else { return nobody() };
    let Some(history) = held(&web, place, &cat.name).await else { return no_answer() };
    let status = house_status(&seen.house, seen.now);
    let status = status.as_ref().and_then(|status| status.cats.iter().find(|shown| shown.cat == cat.name));
    let Some(status) = status else { return no_answer() };
    let facts = SheetFacts { household, cat, person, status, doses: &history.doses };
    printed(trip_sheet(&facts, seen.now))
}

fn nobody() -> Response {
    (StatusCode::NOT_FOUND, "there is no such cat here\n").into_response()
}

/// A document that carries its own style.
fn printed(document: String) -> Response {
    let policy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'";
    ([(CONTENT_SECURITY_POLICY, policy)], Html(document)).into_response()
}

async fn person(headers: HeaderMap, State(web): Shared, Form(fields): Form<Fields>) -> Response {
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let name = fields.get("person").and_then(|name| PersonName::new(name).ok());
    let known = name.filter(|name| {
        seen.house.household.as_deref().is_some_and(|household| household.person(name).is_some())
    });
    let Some(name) = known else { return web.on("/", Telling::new("page-slip-form")) };
    ([(SET_COOKIE, lasting(PERSON_COOKIE, name.as_str(), &headers))], Redirect::to("/")).into_response()
}

/// A cookie that lasts as long as a pass. Not over plain connections where a server in front says that there are others.
fn lasting(name: &str, value: &str, headers: &HeaderMap) -> String {
    let secure = if text(headers, "x-forwarded-proto") == Some("https") { "; Secure" } else { "" };
    format!("{name}={value}; Path=/; Max-Age={}; HttpOnly; SameSite=Lax{secure}", PASS_DAYS * 24 * 60 * 60)
}

async fn enter(State(web): Shared, headers: HeaderMap) -> Response {
    asks(&web, &headers, None).await
}

async fn asks(web: &Web, headers: &HeaderMap, wrong: Option<Telling>) -> Response {
    if web.ground.settings.password.is_none() {
        return Redirect::to("/").into_response();
    }
    let language = match web.ground.look().await.as_ref().and_then(|seen| who(seen, headers)) {
        Some((_, person)) => person.language.clone(),
        None => "en".to_owned(),
    };
    let status = if wrong.is_some() { StatusCode::FORBIDDEN } else { StatusCode::OK };
    (status, Html(password_page(&language, None, wrong))).into_response()
}

async fn entered(
    State(web): Shared,
    Extension(Peer(from)): Extension<Peer>,
    headers: HeaderMap,
    Form(fields): Form<Fields>,
) -> Response {
    let now = (web.ground.now)();
    let Some(password) = &web.ground.settings.password else { return Redirect::to("/").into_response() };
    if let Some(wait) = web.attempts.wait(from, now) {
        let seconds = Arg::Count(wait.num_seconds() + 1);
        let told = Telling::new("page-password-wait").with("seconds", seconds);
        return asks(&web, &headers, Some(told)).await;
    }
    let given = fields.get("password").map_or("", String::as_str);
    if !web.ground.key.same(given, password.expose()) {
        web.attempts.wrong(from, now);
        tracing::warn!("the page: a wrong password from {from}");
        return asks(&web, &headers, Some(Telling::new("page-password-wrong"))).await;
    }
    web.attempts.right(from);
    let pass = web.ground.key.pass(password.expose(), now + minutes(PASS_DAYS as f64 * 1440.0));
    ([(SET_COOKIE, lasting(PASS_COOKIE, &pass, &headers))], Redirect::to("/")).into_response()
}

async fn leave() -> Response {
    let gone = format!("{PASS_COOKIE}=; Path=/; Max-Age=0; HttpOnly; SameSite=Lax");
    ([(SET_COOKIE, gone)], Redirect::to("/enter")).into_response()
}

/// For machines: whether the core turns and the record can be written. Says nothing of the cat.
async fn healthz(State(web): Shared) -> Response {
    let bad = |why: &'static str| (StatusCode::SERVICE_UNAVAILABLE, why).into_response();
    let Some(seen) = web.ground.look().await else { return bad("the core does not answer\n") };
    if seen.house.health.open.keys().any(|(watch, _)| *watch == Watch::DatabaseError) {
        return bad("there is trouble with the record\n");
    }
    "ok\n".into_response()
}

async fn metrics(State(web): Shared) -> Response {
    let Some(seen) = web.ground.look().await else { return no_answer() };
    let Some(status) = house_status(&seen.house, seen.now) else { return no_answer() };
    ([(CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8")], metrics_text(&status)).into_response()
}

async fn style(_: Request) -> Response {
    ([(CONTENT_TYPE, "text/css; charset=utf-8")], PAGE_STYLE).into_response()
}

/// Where forms are sent to that become events.
const FORMS: [&str; 8] = ["/answer", "/dose", "/undose", "/meter", "/unmeter", "/sensor", "/spare", "/note"];
const PERSON_COOKIE: &str = "lowtide-person";
const FORM_BYTES_MOST: usize = 16 * 1024;
const DAYS_SHOWN: u32 = 3;
const DAYS_MOST: u32 = 31;
const PASS_DAYS: i64 = 90;
/// A long record in many tabs must not take memory from the watch.
const READERS_MOST: usize = 1;
/// Nobody means the same thing twice within this.
const ONE_PRESS_SECONDS: i64 = 10;

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    use super::*;
    use crate::page::PageSettings;
    use crate::token::{KEY_BYTES, Key};

    #[test]
    fn without_an_answer_nothing_is_said_to_be_recorded_or_not() {
        let said = || Telling::new("page-kept-note");
        assert_eq!(came(Some(Kept::Synced), said()), ("/", said()));
        assert_eq!(came(Some(Kept::Known), said()).1.key, "page-known");
        assert_eq!(came(Some(Kept::Failed("full".into())), said()).1.key, "page-failed");
        assert_eq!(came(None, said()).1.key, "page-unsure");
    }

    #[tokio::test]
    async fn the_record_is_read_by_one_browser_after_the_other() {
        let (looks, door) = (tokio::sync::mpsc::channel(1).0, tokio::sync::mpsc::channel(1).0);
        let settings = PageSettings { listen: ([127, 0, 0, 1], 0).into(), password: None };
        let key = Key::new([0; KEY_BYTES]);
        let now = Arc::new(Moment::default);
        let web = Arc::new(Web::new(Ground { settings, key, looks, door, data: "none".into(), now }));
        let (within, most) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let mut all = tokio::task::JoinSet::new();
        for _ in 0..6 {
            let (web, within, most) = (Arc::clone(&web), Arc::clone(&within), Arc::clone(&most));
            all.spawn(async move {
                let place = web.place().await.unwrap();
                let read = move || {
                    most.fetch_max(within.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                    std::thread::sleep(Duration::from_millis(50));
                    within.fetch_sub(1, Ordering::SeqCst);
                };
                at_the_record(place, read).await
            });
        }
        assert_eq!(all.join_all().await.len(), 6);
        assert_eq!(most.load(Ordering::SeqCst), READERS_MOST);
    }
}
