//! The push carrier against the stand-in.

use std::time::Duration;

use lowtide::notify::{Carriers, NtfySettings, Secret};
use lowtide::token::Key;
use lowtide::words::{Button, ChannelKind, Message, Outcome, Verdict};

use super::stands::ntfy::{Login, Ntfy, Options, Trick};
use super::{message, parcel, why};

fn settings(server: &Ntfy) -> NtfySettings {
    let mut settings = NtfySettings::new(&server.url);
    settings.deadline = Duration::from_secs(3);
    settings
}

async fn carry(settings: NtfySettings, attempt: u32, message: &Message) -> Outcome {
    let mut carriers = Carriers::new(Some(settings), None).unwrap();
    carriers.sign_with(&Key::new([7; 32]));
    carriers.carry(&parcel(ChannelKind::Ntfy, "a-topic", attempt), message).await
}

fn buttons() -> Vec<Button> {
    let finding = message().findings[0].clone();
    vec![Button { label: "Ich kümmere mich".to_owned(), verdict: Verdict::Taken, finding }]
}

#[tokio::test]
async fn a_message_arrives_with_its_words_its_urgency_and_its_button() {
    let server = Ntfy::start(Options::default()).await;
    let mut settings = settings(&server);
    settings.reply_topic = Some("answers".to_owned());
    settings.click = Some("http://lowtide.example/".to_owned());
    let mut message = message();
    message.buttons = buttons();
    let outcome = carry(settings, 1, &message).await;
    let stored = server.stored();
    assert_eq!(stored.len(), 1);
    assert_eq!(why(&outcome), ("delivered", stored[0]["id"].as_str().unwrap()));
    assert_eq!(stored[0]["title"], *message.title);
    assert_eq!(stored[0]["message"], *message.text);
    assert_eq!(stored[0]["priority"], 5);
    assert_eq!(stored[0]["click"], "http://lowtide.example/");
    let action = &stored[0]["actions"][0];
    assert_eq!(action["url"], format!("{}/answers", server.url));

    // What a phone does when the button is pressed.
    let client = reqwest::Client::new();
    let pressed =
        client.post(action["url"].as_str().unwrap()).body(action["body"].as_str().unwrap().to_owned());
    assert_eq!(pressed.send().await.unwrap().status(), 200);
    assert_eq!(server.stored()[1]["topic"], "answers");
    let claim = Key::new([7; 32]).verify(server.stored()[1]["message"].as_str().unwrap(), message.created);
    assert_eq!(claim.unwrap().verdict, Verdict::Taken);
}

#[tokio::test]
async fn a_token_or_a_name_and_password_opens_the_door() {
    let login =
        Login { name: "lowtide".to_owned(), password: "päss:wort".to_owned(), token: "tk_abc".to_owned() };
    let server = Ntfy::start(Options { logins: vec![login], ..Options::default() }).await;
    let mut with_token = settings(&server);
    with_token.token = Some(Secret::new("tk_abc"));
    assert_eq!(why(&carry(with_token, 1, &message()).await).0, "delivered");
    let mut with_name = settings(&server);
    with_name.username = Some("lowtide".to_owned());
    with_name.password = Some(Secret::new("päss:wort\n"));
    assert_eq!(why(&carry(with_name, 1, &message()).await).0, "delivered");

    let mut wrong = settings(&server);
    wrong.token = Some(Secret::new("tk_wrong"));
    let outcome = carry(wrong, 1, &message()).await;
    assert_eq!(why(&outcome).0, "refused");
    assert!(why(&outcome).1.contains("401") && why(&outcome).1.contains("token_file"), "{outcome:?}");
    assert!(!why(&outcome).1.contains("tk_wrong"));
    let nobody = carry(settings(&server), 1, &message()).await;
    assert!(why(&nobody).0 == "refused" && why(&nobody).1.contains("may not write"), "{nobody:?}");
    assert_eq!((server.requests(), server.stored().len()), (4, 2), "a refused login is not tried twice");
}

#[tokio::test]
async fn too_many_requests_wait_as_long_as_the_server_asks() {
    let server = Ntfy::start(Options::default()).await;
    let refusal =
        |headers| Trick::Answer(429, headers, "{\"code\":42901,\"http\":429,\"error\":\"limit\"}".into());
    server.play([
        refusal(vec![("retry-after", "77".to_owned())]),
        refusal(vec![
            ("date", "Fri, 31 Dec 1999 23:58:59 GMT".to_owned()),
            ("retry-after", "Fri, 31 Dec 1999 23:59:59 GMT".to_owned()),
        ]),
        refusal(vec![]),
        Trick::Answer(503, vec![("retry-after", "9".to_owned())], "busy".to_owned()),
    ]);
    for expected in [Some(77), Some(60), None, Some(9)] {
        let outcome = carry(settings(&server), 1, &message()).await;
        let Outcome::Later { retry_after_seconds, .. } = &outcome else { panic!("{outcome:?}") };
        assert_eq!(*retry_after_seconds, expected, "{outcome:?}");
    }
    assert!(server.stored().is_empty());
}

#[tokio::test]
async fn an_empty_bucket_is_later_and_not_refused() {
    let server = Ntfy::start(Options { bucket: 2, ..Options::default() }).await;
    for expected in ["delivered", "delivered", "later"] {
        assert_eq!(why(&carry(settings(&server), 1, &message()).await).0, expected);
    }
}

#[tokio::test]
async fn trouble_on_the_server_or_on_the_way_is_later() {
    let server = Ntfy::start(Options::default()).await;
    let moved = Trick::Answer(302, vec![("location", "http://portal.example/".to_owned())], String::new());
    let no_id = Trick::Answer(200, vec![], "{\"ok\":true}".to_owned());
    for (trick, part) in [
        (Trick::status(500), "500"),
        (Trick::page(502), "502"),
        (Trick::status(507), "507"),
        (Trick::Hang, "within 3 s"),
        (Trick::page(200), "not an ntfy server"),
        (no_id, "without an id"),
        (moved, "portal.example"),
    ] {
        server.play([trick.clone()]);
        let outcome = carry(settings(&server), 1, &message()).await;
        assert!(why(&outcome).0 == "later" && why(&outcome).1.contains(part), "{trick:?}: {outcome:?}");
    }
    assert!(server.stored().is_empty());
    let mut nobody = settings(&server);
    nobody.server = "http://127.0.0.1:1".to_owned();
    let outcome = carry(nobody, 1, &message()).await;
    assert!(why(&outcome).0 == "later" && why(&outcome).1.contains("cannot reach"), "{outcome:?}");
    assert!(!why(&outcome).1.contains("a-topic"), "a topic is as good as a password");
}

#[tokio::test]
async fn a_message_whose_answer_was_lost_is_not_said_twice() {
    for trick in [Trick::StoreThenHang, Trick::StoreThenBreak] {
        let server = Ntfy::start(Options::default()).await;
        server.play([trick.clone()]);
        let first = carry(settings(&server), 1, &message()).await;
        assert!(
            why(&first).0 == "later" && why(&first).1.contains("may have arrived"),
            "{trick:?}: {first:?}"
        );
        let second = carry(settings(&server), 2, &message()).await;
        assert_eq!(why(&second), ("delivered", server.stored()[0]["id"].as_str().unwrap()));
        assert_eq!((server.stored().len(), server.publishes()), (1, 1));

        // Another message with the same words is another message.
        let mut repeat = message();
        repeat.id.0 = "other".to_owned();
        assert_eq!(why(&carry(settings(&server), 2, &repeat).await).0, "delivered");
        assert_eq!(server.stored().len(), 2);
    }
}

#[tokio::test]
async fn a_login_that_may_not_look_says_it_twice_rather_than_not_at_all() {
    let server = Ntfy::start(Options { readable: false, ..Options::default() }).await;
    server.play([Trick::StoreThenHang]);
    assert_eq!(why(&carry(settings(&server), 1, &message()).await).0, "later");
    assert_eq!(why(&carry(settings(&server), 2, &message()).await).0, "delivered");
    assert_eq!(server.stored().len(), 2);
}

#[tokio::test]
async fn what_the_server_dislikes_is_tried_once_more_without_trimmings() {
    let server = Ntfy::start(Options::default()).await;
    let mut settings = settings(&server);
    settings.reply_topic = Some("answers".to_owned());
    let mut message = message();
    message.buttons = buttons();
    server.play([Trick::status(400)]);
    assert_eq!(why(&carry(settings.clone(), 1, &message).await).0, "delivered");
    let bodies = server.bodies();
    assert!(bodies[0].contains("\"actions\"") && !bodies[1].contains("\"actions\""));

    for status in [400, 404, 413] {
        let before = server.publishes();
        server.play([Trick::status(status), Trick::status(status)]);
        let outcome = carry(settings.clone(), 1, &message).await;
        assert!(why(&outcome).0 == "refused" && why(&outcome).1.contains(&status.to_string()), "{outcome:?}");
        assert_eq!(server.publishes() - before, 2);
    }
}

#[tokio::test]
async fn the_longest_text_is_taken_and_a_longer_one_keeps_its_start() {
    let server = Ntfy::start(Options::default()).await;
    let mut message = message();
    for (text, kept) in [("x".repeat(4095), 4095), ("x".repeat(4096), 4095), ("ü\"".repeat(5000), 4000)] {
        message.text = text;
        let outcome = carry(settings(&server), 1, &message).await;
        assert_eq!(why(&outcome).0, "delivered", "{outcome:?}");
        let stored = server.stored().last().unwrap()["message"].as_str().unwrap().to_owned();
        assert!(stored.len() >= kept && stored.len() <= 4095, "{}", stored.len());
        assert!(message.text.starts_with(stored.trim_end_matches('…')));
    }
}

#[tokio::test]
async fn a_topic_that_cannot_exist_is_refused_without_asking() {
    let server = Ntfy::start(Options::default()).await;
    let carriers = Carriers::new(Some(settings(&server)), None).unwrap();
    let outcome = carriers.carry(&parcel(ChannelKind::Ntfy, "not a topic", 1), &message()).await;
    assert!(why(&outcome).0 == "refused" && why(&outcome).1.contains("not an ntfy topic"), "{outcome:?}");
    assert_eq!(server.requests(), 0);
}

/// The stand-in is only worth something if it refuses what the real server refuses.
#[tokio::test]
async fn the_stand_in_refuses_what_the_real_server_refuses() {
    let server = Ntfy::start(Options { bucket: 1000, ..Options::default() }).await;
    let client = reqwest::Client::new();
    let big = format!("{{\"topic\":\"t\",\"message\":\"{}\"}}", "x".repeat(9000));
    let long = format!("{{\"topic\":\"t\",\"message\":\"{}\"}}", "x".repeat(4096));
    for (body, status, code) in [
        (big.as_str(), 413, 41303),
        (long.as_str(), 400, 40014),
        ("", 400, 40024),
        ("{\"topic\":\"t\",\"priority\":\"4\"}", 400, 40024),
        ("{\"topic\":\"t\",\"tags\":\"a\"}", 400, 40024),
        ("{\"topic\":\"t\",\"delay\":60}", 400, 40024),
        ("{\"message\":\"m\"}", 400, 40009),
        ("{\"topic\":\"a b\"}", 400, 40009),
        ("{\"topic\":\"docs\"}", 400, 40010),
        ("{\"topic\":\"t\",\"icon\":\"ftp://x\"}", 400, 40021),
        ("{\"topic\":\"t\",\"priority\":6}", 400, 40007),
        ("{\"topic\":\"t\",\"delay\":\"soon\"}", 400, 40004),
        ("{\"topic\":\"t\",\"delay\":\"5s\"}", 400, 40005),
        ("{\"topic\":\"t\",\"delay\":\"4 days\"}", 400, 40006),
        ("{\"topic\":\"t\",\"cache\":\"no\",\"delay\":\"1h\"}", 400, 40002),
        ("{\"topic\":\"t\",\"actions\":{}}", 400, 40024),
        ("{\"topic\":\"t\",\"actions\":[{\"action\":\"open\",\"label\":\"l\"}]}", 400, 40018),
        ("{\"topic\":\"t\",\"actions\":[{\"action\":\"http\",\"label\":\"l\"}]}", 400, 40018),
        ("{\"topic\":\"t\",\"message\":\"fine\"} trailing", 200, 0),
    ] {
        let response = client.post(&server.url).body(body.to_owned()).send().await.unwrap();
        assert_eq!(response.status(), status, "{body}");
        let reply: serde_json::Value = response.json().await.unwrap();
        assert_eq!(reply["code"].as_u64().unwrap_or(0), code, "{body}: {reply}");
    }
    assert_eq!(server.stored().len(), 1);
}

#[tokio::test]
async fn the_stand_in_streams_what_comes_and_what_came_before() {
    let server = Ntfy::start(Options { keepalive: Duration::from_millis(60), ..Options::default() }).await;
    let client = reqwest::Client::new();
    let publish = |text: &str| client.post(format!("{}/answers", server.url)).body(text.to_owned()).send();
    publish("first").await.unwrap();
    let first = server.stored()[0]["id"].as_str().unwrap().to_owned();
    publish("second").await.unwrap();
    let mut stream = client.get(format!("{}/answers/json?since={first}", server.url)).send().await.unwrap();
    publish("third").await.unwrap();
    let mut text = String::new();
    while !(text.contains("third") && text.contains("keepalive")) {
        text.push_str(&String::from_utf8_lossy(&stream.chunk().await.unwrap().unwrap()));
    }
    let events: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(events[0]["event"], "open");
    let texts: Vec<_> = events.iter().filter_map(|e| e["message"].as_str()).collect();
    assert_eq!(texts, ["second", "third"]);
}
