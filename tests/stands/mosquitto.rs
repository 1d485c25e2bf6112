//! A real mosquitto on a free port, with its own configuration in its own folder.

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use super::certificate::Certificate;

/// How the broker is set up.
#[derive(Default)]
pub struct Options<'a> {
    pub login: Option<(&'a str, &'a str)>,
    pub certificate: Option<&'a Certificate>,
    /// More lines of its configuration.
    pub more: &'a str,
}

/// A broker; not always running.
pub struct Mosquitto {
    pub port: u16,
    folder: tempfile::TempDir,
    child: Option<Child>,
}

impl Mosquitto {
    /// Starts one that saves its state at every change.
    pub fn start(options: &Options<'_>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        let mut lines = format!(
            "listener {port} 127.0.0.1\npersistence true\npersistence_location {}/\n\
             autosave_interval 1\nautosave_on_changes true\nallow_anonymous {}\n{}\n",
            folder.path().display(),
            options.login.is_none(),
            options.more,
        );
        // Started by root it would become another user, who cannot read this folder.
        lines.push_str("user root\n");
        if let Some((name, password)) = options.login {
            let made = Command::new("mosquitto_passwd")
                .args(["-b", "-c", &at("passwords"), name, password])
                .stderr(Stdio::null())
                .status();
            assert!(made.expect("the tests need mosquitto_passwd").success());
            lines.push_str(&format!("password_file {}\n", at("passwords")));
        }
        if let Some(certificate) = options.certificate {
            lines.push_str(&format!(
                "certfile {}\nkeyfile {}\n",
                certificate.certificate.display(),
                certificate.key.display()
            ));
        }
        fs::write(at("mosquitto.conf"), lines).unwrap();
        let mut broker = Self { port, folder, child: None };
        broker.begin();
        broker
    }

    /// Starts it (again), and waits until it listens.
    pub fn begin(&mut self) {
        assert!(self.child.is_none(), "the broker is running");
        let program = ["/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"]
            .into_iter()
            .find(|path| Path::new(path).exists())
            .unwrap_or("mosquitto");
        let child = Command::new(program)
            .args(["-c", self.folder.path().join("mosquitto.conf").to_str().unwrap()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the tests need mosquitto");
        self.child = Some(child);
        for _ in 0..6000 {
            if TcpStream::connect(("127.0.0.1", self.port)).is_ok() {
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("mosquitto does not listen on {}", self.port);
    }

    /// The file in which it keeps what must survive it.
    pub fn memory(&self) -> std::path::PathBuf {
        self.folder.path().join("mosquitto.db")
    }

    /// What is retained under a topic, waited for some seconds; without blanks at its ends.
    pub fn retained(&self, topic: &str) -> String {
        let port = self.port.to_string();
        let got =
            Command::new("mosquitto_sub").args(["-p", &port, "-t", topic, "-C", "1", "-W", "5"]).output();
        String::from_utf8(got.unwrap().stdout).unwrap().trim().to_owned()
    }

    /// The running process.
    pub fn pid(&self) -> u32 {
        self.child.as_ref().expect("the broker is not running").id()
    }

    /// Ends it properly; it saves what it holds.
    pub fn stop(&mut self) {
        let mut child = self.child.take().expect("the broker is not running");
        let ended = Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap();
        assert!(ended.success());
        child.wait().unwrap();
    }

    /// Ends it at once; what it has not saved is gone.
    pub fn kill(&mut self) {
        let mut child = self.child.take().expect("the broker is not running");
        child.kill().unwrap();
        child.wait().unwrap();
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
