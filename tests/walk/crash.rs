//! Kill -9 at bad moments: nothing acknowledged is lost, nothing is doubled in the record.

use crate::broker::{listening, mqtt, publish, reading};
use crate::stands::house::{House, csv, email, ntfy};
use crate::stands::mosquitto::{Mosquitto, Options};
use crate::stands::ntfy::{self, Ntfy, Trick};
use crate::stands::smtp::{self, Sink};

#[tokio::test(flavor = "multi_thread")]
async fn a_daemon_killed_again_and_again_keeps_each_message_once() {
    let broker = Mosquitto::start(&Options::default());
    let sink = Sink::start(&smtp::Options::default());
    let person = "[[person]]\nname = \"owner\"\nemail = \"owner@example.org\"\n";
    let mut house = House::new(&format!("{}{}{person}", mqtt(&broker), email(sink.port)));
    house.start().await;
    listening(&house, &broker).await;
    let mut sent = 0;
    for round in 0..4 {
        for number in 0..10 {
            publish(
                &broker,
                "lowtide/in/pepper/reading",
                &reading(600.0 - f64::from(round * 10 + number) * 15.0, "150"),
            );
            sent += 1;
            // Somewhere between commit and acknowledgement: each round a little later.
            if number == 3 + round {
                house.kill();
                house.start().await;
            }
        }
    }
    house.until("everything sent is in the record", || house.measured().len() >= sent).await;
    let mut times = house.measured();
    let all = times.len();
    times.sort();
    times.dedup();
    assert_eq!((all, times.len()), (sent, sent), "each reading once");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_that_was_on_its_way_goes_out_after_a_power_cut() {
    let server = Ntfy::start(ntfy::Options::default()).await;
    server.play([Trick::Hang]);
    let person = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
    let mut house = House::new(&format!("{}{person}", ntfy(&server.url)));
    house.start().await;
    house.drop_file("scan.csv", &csv(&[(20.0, "60"), (5.0, "45")]));
    house.until("the server hangs on the first attempt", || server.publishes() == 1).await;
    house.kill();
    assert!(server.stored().is_empty());
    house.start().await;
    house.until("the message after the restart", || server.stored().len() == 1).await;
    assert_eq!(server.stored()[0]["title"], "Dangerously low: Pepper");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flipped_byte_is_found_named_and_told_and_the_rest_is_kept() {
    let server = Ntfy::start(ntfy::Options::default()).await;
    let person = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
    let mut house = House::new(&format!("{}{person}", crate::stands::house::ntfy(&server.url)));
    house.start().await;
    for text in ["first", "second", "third"] {
        house.said(&["log", "note", text]);
    }
    house.stop();
    let journal = std::fs::read_dir(house.path("data/journal")).unwrap().next().unwrap().unwrap().path();
    let text = std::fs::read_to_string(&journal).unwrap();
    std::fs::write(&journal, text.replace("\"second\"", "\"sekond\"")).unwrap();
    // The store knew the state; without it everything is read from the journal again.
    std::fs::remove_dir_all(house.path("data/store")).unwrap();
    house.start().await;
    house.until("the owner is told", || !server.stored().is_empty()).await;
    assert_eq!(server.stored()[0]["title"], "Trouble with the record: Lowtide");
    let kept = house.run(&["export"]);
    let kept = String::from_utf8(kept.stdout).unwrap();
    assert!(kept.contains("\"first\"") && kept.contains("\"third\"") && !kept.contains("sekond"), "{kept}");
}
