//! Secrets: where they may stand, and what is said about the places.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use lowtide::config::{Examined, Surroundings, examine};

const HOUSE: &str = "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\n[cat.plan]\nlow = 70\n\
    danger = 50\nmeter_low = 60\n[[person]]\nname = \"owner\"\nemail = \"olive@example.org\"\n\
    [notify.email]\nsmtp = \"smtps://mail.example\"\nfrom = \"lowtide@example.org\"\nusername = \"lowtide\"\n";

/// The house with one line more, in a folder with a secret file of a mode.
fn examined(line: &str, mode: u32, text: &str) -> (Examined, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("mail-password");
    fs::write(&secret, text).unwrap();
    fs::set_permissions(&secret, fs::Permissions::from_mode(mode)).unwrap();
    let path = folder.path().join("lowtide.toml");
    fs::write(&path, format!("{HOUSE}{line}\n")).unwrap();
    let surroundings = Surroundings {
        variables: BTreeMap::from([
            ("MAIL_PASSWORD".to_owned(), "from the air".to_owned()),
            ("CREDENTIALS_DIRECTORY".to_owned(), folder.path().to_str().unwrap().to_owned()),
        ]),
        ..Surroundings::default()
    };
    let examined = examine(&path, &surroundings).unwrap();
    let said = examined.problems.iter().map(|problem| problem.shown(Path::new("t"))).collect();
    (examined, said)
}

fn password(examined: &Examined) -> &str {
    examined.config.as_ref().unwrap().mail.as_ref().unwrap().password.as_ref().unwrap().expose()
}

#[test]
fn a_file_a_variable_and_a_credential_each_give_the_secret() {
    for (line, expected) in [
        ("password_file = \"mail-password\"", "kept in a file"),
        ("password_env = \"MAIL_PASSWORD\"", "from the air"),
        ("password_credential = \"mail-password\"", "kept in a file"),
    ] {
        let (examined, said) = examined(line, 0o600, "kept in a file\n");
        assert_eq!(said, Vec::<String>::new(), "{line}");
        assert_eq!(password(&examined), expected, "{line}");
        assert!(!format!("{:?}", examined.config).contains(expected), "{line}: shown by Debug");
    }
}

#[test]
fn a_file_that_others_can_open_is_advice_and_works() {
    for (mode, who) in [(0o644, "everybody on this machine"), (0o640, "its group")] {
        let (examined, said) = examined("password_file = \"mail-password\"", mode, "kept in a file");
        assert!(examined.is_sound());
        assert!(said.len() == 1 && said[0].contains(who) && said[0].contains("chmod 600"), "{said:?}");
    }
}

#[test]
fn a_secret_that_is_none_is_refused_without_being_shown() {
    for (text, why) in
        [("", "it is empty"), (" \n", "it is empty"), ("hidden one\nhidden two\n", "on one line")]
    {
        let (examined, said) = examined("password_file = \"mail-password\"", 0o600, text);
        assert!(!examined.is_sound(), "{text:?}");
        assert!(said.len() == 1 && said[0].contains(why) && !said[0].contains("hidden"), "{said:?}");
    }
}

#[test]
fn a_credential_cannot_be_a_path() {
    let (examined, said) = examined("password_credential = \"../../etc/hostname\"", 0o600, "x");
    assert!(!examined.is_sound() && said[0].contains("without a path"), "{said:?}");
}
