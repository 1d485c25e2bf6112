//! The mail carrier against aiosmtpd, and against a server in a bad mood.

use std::time::Duration;

use lowtide::notify::{Carriers, MailSettings, Secret};
use lowtide::words::{ChannelKind, Message, MessageId, Outcome};

use super::stands::certificate;
use super::stands::smtp::{Options, Scripted, Sink, Stage, Trick};
use super::{message, parcel, why};

fn settings(smtp: &str) -> MailSettings {
    let mut settings = MailSettings::new(smtp, "lowtide@example.org");
    settings.deadline = Duration::from_secs(5);
    settings
}

async fn carry(settings: MailSettings, message: &Message) -> Outcome {
    let carriers = Carriers::new(None, Some(settings)).unwrap();
    carriers.carry(&parcel(ChannelKind::Email, "owner@example.org", 1), message).await
}

#[tokio::test]
async fn a_mail_arrives_whole_and_updates_sit_together() {
    let sink = Sink::start(&Options::default());
    let address = format!("smtp://127.0.0.1:{}", sink.port);
    let first = message();
    let mut update = message();
    update.id = MessageId("p9x1".to_owned());
    update.title = "Pfeffer ist über den Berg".to_owned();
    for message in [&first, &first, &update] {
        let outcome = carry(settings(&address), message).await;
        assert_eq!(why(&outcome).0, "delivered", "{outcome:?}");
    }
    let mails = sink.mails(3).await;
    let header = |at: usize, name: &str| mails[at]["headers"][name].as_str().unwrap().to_owned();
    assert_eq!(mails[0]["from"], "lowtide@example.org");
    assert_eq!(mails[0]["to"], serde_json::json!(["owner@example.org"]));
    assert_eq!(mails[0]["defects"], serde_json::json!([]));
    assert_eq!(mails[0]["type"], "multipart/alternative");
    assert_eq!(header(0, "Subject"), first.title);
    assert_eq!(header(0, "From"), "Lowtide <lowtide@example.org>");
    assert_eq!(header(0, "Auto-Submitted"), "auto-generated");
    let text = mails[0]["text"].as_str().unwrap();
    assert!(text.contains(&first.text) && text.contains(&first.more[0]), "{text}");
    let html = mails[0]["html"].as_str().unwrap();
    assert!(html.contains("„Honig ans Zahnfleisch“. 猫") && html.contains(&first.more[0]), "{html}");

    assert_eq!(header(0, "Message-ID"), header(1, "Message-ID"), "a repeat can be recognised");
    assert_ne!(header(0, "Message-ID"), header(2, "Message-ID"));
    assert_eq!(header(0, "References"), header(2, "References"));
    assert_eq!(header(0, "References"), header(2, "In-Reply-To"));
}

#[tokio::test]
async fn a_login_is_sent_under_tls_and_a_wrong_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let certificate = certificate::make(folder.path());
    for (way, scheme) in [("starttls", "smtp+starttls"), ("smtps", "smtps")] {
        let login = Some(("lowtide", "gehäuse"));
        let sink = Sink::start(&Options { way, certificate: Some(&certificate), login });
        let mut good = settings(&format!("{scheme}://localhost:{}", sink.port));
        good.ca_file = Some(certificate.authority.clone());
        good.username = Some("lowtide".to_owned());
        good.password = Some(Secret::new("gehäuse\n"));
        let outcome = carry(good.clone(), &message()).await;
        assert_eq!(why(&outcome).0, "delivered", "{way}: {outcome:?}");
        let mails = sink.mails(1).await;
        assert_eq!((&mails[0]["tls"], &mails[0]["login"]), (&true.into(), &true.into()), "{way}");

        let mut wrong = good.clone();
        wrong.password = Some(Secret::new("falsch"));
        let outcome = carry(wrong, &message()).await;
        assert_eq!(why(&outcome).0, "refused", "{way}: {outcome:?}");
        assert!(
            why(&outcome).1.contains("password_file") && !why(&outcome).1.contains("falsch"),
            "{outcome:?}"
        );

        let mut stranger = good.clone();
        stranger.ca_file = None;
        let outcome = carry(stranger, &message()).await;
        assert_eq!(why(&outcome).0, "later", "an unknown authority is not trusted, {way}: {outcome:?}");
        assert_eq!(sink.mails(1).await.len(), 1);
    }
}

#[tokio::test]
async fn a_server_without_starttls_gets_no_mail_in_the_clear() {
    let server = Scripted::start([]).await;
    let outcome = carry(settings(&format!("smtp+starttls://localhost:{}", server.port)), &message()).await;
    assert_eq!(why(&outcome).0, "later", "{outcome:?}");
    assert!(why(&outcome).1.contains("STARTTLS"), "{outcome:?}");
    assert!(server.taken().is_empty());
}

#[tokio::test]
async fn a_server_that_asks_for_time_is_tried_later_and_one_that_refuses_is_not() {
    use Stage::{Data, End, Greeting, Mail, Rcpt};
    for (trick, class, part) in [
        (Trick::Reply(Rcpt, "451 4.7.1 greylisted, try again in five minutes"), "later", "451"),
        (Trick::Reply(Greeting, "421 too busy"), "later", "421"),
        (Trick::Reply(End, "452 no room"), "later", "452"),
        (Trick::Reply(Rcpt, "550 5.1.1 no such mailbox"), "refused", "no such mailbox"),
        (Trick::Reply(Mail, "530 5.7.0 Authentication required"), "refused", "password_file"),
        (Trick::Reply(Data, "554 no"), "refused", "554"),
        (Trick::Close(Greeting), "later", ""),
        (Trick::Close(End), "later", ""),
    ] {
        let server = Scripted::start([trick.clone()]).await;
        let address = format!("smtp://127.0.0.1:{}", server.port);
        let outcome = carry(settings(&address), &message()).await;
        assert!(why(&outcome).0 == class && why(&outcome).1.contains(part), "{trick:?}: {outcome:?}");
        let again = carry(settings(&address), &message()).await;
        assert_eq!(why(&again).0, "delivered", "{again:?}");
    }
    let outcome = carry(settings("smtp://127.0.0.1:1"), &message()).await;
    assert_eq!(why(&outcome).0, "later", "{outcome:?}");
}

#[tokio::test]
async fn a_server_that_falls_silent_is_left_at_the_deadline() {
    for stage in [Stage::Greeting, Stage::Rcpt, Stage::End] {
        let server = Scripted::start([Trick::Hang(stage)]).await;
        let mut settings = settings(&format!("smtp://127.0.0.1:{}", server.port));
        settings.deadline = Duration::from_millis(500);
        let outcome = carry(settings, &message()).await;
        assert!(why(&outcome).0 == "later" && why(&outcome).1.contains("may have arrived"), "{outcome:?}");
    }
}

#[tokio::test]
async fn an_address_that_is_none_is_refused_without_asking() {
    let server = Scripted::start([]).await;
    let settings = settings(&format!("smtp://127.0.0.1:{}", server.port));
    let carriers = Carriers::new(None, Some(settings)).unwrap();
    for address in ["nobody", "a@b.example, c@d.example", "a@b.example\r\nBcc: c@d.example"] {
        let outcome = carriers.carry(&parcel(ChannelKind::Email, address, 1), &message()).await;
        assert!(why(&outcome).0 == "refused" && why(&outcome).1.contains("not an email"), "{outcome:?}");
    }
    assert!(server.taken().is_empty());
}
