//! A disk that turns read-only while the daemon runs, as a worn card does. A real file system, so only for the superuser;
//! and one that the kernel itself turns read-only, since nobody may do so by hand while a file is open for writing.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::stands::house::{House, csv, ntfy};
use crate::stands::ntfy::{Ntfy, Options};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
const LOW: &str = "Dangerously low: Pepper";
const TROUBLE: &str = "Nothing can be recorded: Lowtide";

pub fn done(program: &str, arguments: &[&str]) -> bool {
    Command::new(program)
        .args(arguments)
        .stderr(Stdio::null())
        .stdout(Stdio::null())
        .status()
        .is_ok_and(|s| s.success())
}

/// Whether this machine lets us mount; says so if not.
pub fn may_mount() -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let root = std::fs::metadata("/proc/self").unwrap().uid() == 0;
    if !root {
        println!("skipped: only the superuser may mount a file system");
    }
    root
}

/// Something mounted on a folder, until it is dropped.
pub struct Mounted(PathBuf);

impl Mounted {
    pub fn new(folder: PathBuf, what: &[&str]) -> Option<Self> {
        std::fs::create_dir_all(&folder).unwrap();
        let at = folder.to_str().unwrap().to_owned();
        done("mount", &[what, &[at.as_str()]].concat()).then_some(Self(folder))
    }

    pub fn path(&self) -> &str {
        self.0.to_str().unwrap()
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        // A test that failed may have left a daemon in it.
        done("umount", &["-l", self.path()]);
    }
}

fn told(server: &Ntfy, title: &str) -> bool {
    server.stored().iter().any(|push| push["title"] == title)
}

/// A small ext4 in a file, which the kernel itself will turn read-only.
pub fn ext4(image: &Path) -> bool {
    std::fs::File::create(image).unwrap().set_len(64 << 20).unwrap();
    done("mkfs.ext4", &["-q", image.to_str().unwrap()])
}

/// Has the kernel meet an error on that file system, as it does on a worn card.
fn meet_an_error(disk: &Mounted) -> bool {
    let source = Command::new("findmnt").args(["-n", "-o", "SOURCE", disk.path()]).output().unwrap();
    let device = String::from_utf8(source.stdout).unwrap();
    let name = device.trim().trim_start_matches("/dev/");
    std::fs::write(format!("/sys/fs/ext4/{name}/trigger_fs_error"), "1").is_ok()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_the_kernel_turns_read_only_is_told_and_after_a_repair_nothing_is_missing() {
    if !may_mount() {
        return;
    }
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    let image = house.path("disk.img");
    let how = ["-o", "loop,errors=remount-ro", image.to_str().unwrap()];
    let disk = ext4(&image).then(|| Mounted::new(house.path("data"), &how)).flatten();
    let Some(disk) = disk else {
        println!("skipped: this machine has no ext4 or no loop devices");
        return;
    };
    house.start().await;
    house.drop_file("first.csv", &csv(&[(35.0, "120")]));
    house.until("the first file", || house.path("done/first.csv").exists()).await;
    if !meet_an_error(&disk) {
        println!("skipped: this kernel cannot be asked to meet an error");
        return;
    }
    house.drop_file("low.csv", &csv(&[(20.0, "70"), (5.0, "45")]));
    house.until("the owner is told", || told(&server, TROUBLE)).await;
    assert!(house.path("inbox/low.csv").exists(), "it was acknowledged and is not on disk");
    assert!(house.said(&["status"]).contains("database-error"), "it still answers");
    // Somebody reads the message, repairs the card and starts the machine again.
    house.kill();
    drop(disk);
    done("e2fsck", &["-fy", image.to_str().unwrap()]);
    let _disk = Mounted::new(house.path("data"), &how).expect("it was mounted before");
    house.start().await;
    house.until("the file is taken", || house.path("done/low.csv").exists()).await;
    house.until("the low is told", || told(&server, LOW)).await;
    assert_eq!(house.measured().len(), 3);
    house.stop();
    assert!(lowtide::record::Record::verify(&house.path("data")).is_sound());
}
