//! The daemon beside a general-purpose flow tool (Node-RED, from npm) with one flow: MQTT in, a threshold, an HTTP POST.
//! Both get the same readings from the same broker at the same pace and post to the same push server. The tool is
//! installed into a temporary folder, or taken from `LOWTIDE_FLOW_TOOL` (a folder in which `npm install node-red` ran).

use std::fs;
use std::io::Write as _;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use lowtide::words::minutes;
use serde_json::json;

use super::home::{Home, counter, processor as spent};
use super::lives::{Link, carrier, json as written, life, now, row};
use super::stands::mosquitto::{self, Mosquitto};
use super::stands::ntfy::Ntfy;

/// Between two readings, so that neither falls behind.
const PACE: Duration = Duration::from_millis(20);

/// Memory, processor per reading and delay from the reading to the push, of both.
pub fn measure(quick: bool, server: &Ntfy) {
    let Some(tool) = installed() else {
        return println!("flow: not measured, npm is not on this machine or could not install node-red");
    };
    let (readings, alerts) = if quick { (200, 10) } else { (2000, 60) };
    println!("the daemon against a flow tool, {readings} readings and {alerts} alerts each:");
    let flow = of_the_flow(tool.path(), server, readings, alerts);
    let ours = of_ours(server, readings, alerts);
    let table = [
        ("resident memory, MiB", flow.memory, ours.memory, ""),
        ("processor, ms a reading", flow.processor, ours.processor, "ours is kept, judged and synced"),
        ("processor, ms an alert", flow.alert, ours.alert, "aim: at most 0.125 times"),
        ("publish to push, median, ms", flow.median, ours.median, "aim: its median plus one sync"),
        ("publish to push, 99th percentile, ms", flow.slow, ours.slow, ""),
    ];
    for (what, theirs, ours, aim) in table {
        let what = format!("{what}: tool {theirs:.2}, daemon {ours:.2}");
        row(&what, ours / theirs, "times", aim);
    }
    row("one sync of 200 bytes, median", a_sync().as_secs_f64() * 1e3, "ms", "");
}

struct Figures {
    memory: f64,
    processor: f64,
    alert: f64,
    median: f64,
    slow: f64,
}

/// A folder that goes away, or one that was there.
enum Place {
    Made(tempfile::TempDir),
    Given(PathBuf),
}

impl Place {
    fn path(&self) -> &Path {
        match self {
            Self::Made(folder) => folder.path(),
            Self::Given(path) => path,
        }
    }
}

fn installed() -> Option<Place> {
    if let Some(path) = std::env::var_os("LOWTIDE_FLOW_TOOL") {
        return Some(Place::Given(path.into()));
    }
    let folder = tempfile::tempdir().unwrap();
    let made = Command::new("npm")
        .args(["install", "--no-audit", "--no-fund", "--silent", "--prefix"])
        .arg(folder.path())
        .arg("node-red@4")
        .stdout(Stdio::null())
        .status();
    made.is_ok_and(|status| status.success()).then_some(Place::Made(folder))
}

struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn of_the_flow(tool: &Path, server: &Ntfy, readings: usize, alerts: usize) -> Figures {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    let folder = tempfile::tempdir().unwrap();
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let settings = format!(
        "module.exports = {{ uiHost: '127.0.0.1', uiPort: {port}, disableEditor: true, flowFile: 'flow.json', \
         credentialSecret: false, diagnostics: {{ enabled: false }}, logging: {{ console: {{ level: 'warn' }} }} }};"
    );
    fs::write(folder.path().join("settings.js"), settings).unwrap();
    fs::write(folder.path().join("flow.json"), flow(broker.port, &server.url)).unwrap();
    let child = Command::new("node")
        .arg(tool.join("node_modules/node-red/red.js"))
        .arg("--userDir")
        .arg(folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let running = Running(child);
    let pid = running.0.id();
    let begun = Instant::now();
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        assert!(begun.elapsed() < Duration::from_secs(60), "the flow tool did not start");
        std::thread::sleep(Duration::from_millis(50));
    }
    std::thread::sleep(Duration::from_secs(5));
    let memory = counter(pid, "status", "VmRSS:") as f64 / 1024.0;
    let link = Link::new(broker.port, "lowtide");
    let lived = life(1, readings);
    let processor = paced(pid, readings, |number| link.publish("pepper", &written(&lived[number])));
    let used = spent(pid);
    let times = (0..alerts).map(|number| {
        let text = format!("{{\"measured_at\":\"{}\",\"glucose\":{}}}", now(), 40 + number % 9);
        until_a_push(server, || link.publish("pepper", &text))
    });
    let times = times.collect();
    let alert = (spent(pid) - used).as_secs_f64() * 1e3 / alerts as f64;
    figures(memory, processor, alert, times)
}

fn of_ours(server: &Ntfy, readings: usize, alerts: usize) -> Figures {
    let broker = Mosquitto::start(&mosquitto::Options::default());
    // A cat is critical once; each alert needs one that is not yet.
    let cats: Vec<String> = (0..alerts).map(|number| format!("cat-{number}")).collect();
    let door = format!("[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\n", broker.port);
    let mut home = Home::new(&["pepper".into()], &format!("{door}{}", carrier(server)));
    home.start();
    std::thread::sleep(Duration::from_secs(3));
    let memory = counter(home.id(), "status", "VmRSS:") as f64 / 1024.0;
    let link = Link::new(broker.port, "lowtide");
    let lived = life(1, readings);
    let processor = paced(home.id(), readings, |number| link.publish("pepper", &written(&lived[number])));
    home.stop();
    let (mut times, mut used) = (Vec::new(), Duration::ZERO);
    // Ten cats to a home: what else follows from an alarm stays small.
    for (number, some) in cats.chunks(10).enumerate() {
        let prefix = format!("home-{number}");
        let door = format!(
            "[intake.mqtt]\nbroker = \"mqtt://127.0.0.1:{}\"\nclient_id = \"{prefix}\"\nprefix = \"{prefix}\"\n",
            broker.port
        );
        let mut home = Home::new(some, &format!("{door}{}", carrier(server)));
        home.start();
        let link = Link::new(broker.port, &prefix);
        std::thread::sleep(Duration::from_secs(1));
        let before = spent(home.id());
        for cat in some {
            let one = |ago: f64, value: &str| {
                format!("{{\"measured_at\":\"{}\",\"glucose\":{value}}}", now() - minutes(ago))
            };
            let text = format!("[{},{},{}]", one(35.0, "70"), one(20.0, "52"), one(5.0, "\"LO\""));
            times.push(until_a_push(server, || link.publish(cat, &text)));
        }
        used += spent(home.id()) - before;
        home.stop();
    }
    figures(memory, processor, used.as_secs_f64() * 1e3 / alerts as f64, times)
}

/// Processor time for each of so many readings, ms, less what the same time costs without any.
fn paced(pid: u32, readings: usize, publish: impl Fn(usize)) -> f64 {
    let settle = Duration::from_secs(2);
    let whole = PACE * readings as u32 + settle;
    let before = spent(pid);
    std::thread::sleep(whole);
    let idle = spent(pid) - before;
    let before = spent(pid);
    let begun = Instant::now();
    for number in 0..readings {
        publish(number);
        std::thread::sleep((PACE * (number as u32 + 1)).saturating_sub(begun.elapsed()));
    }
    std::thread::sleep(settle);
    (spent(pid) - before).saturating_sub(idle).as_secs_f64() * 1e3 / readings as f64
}

fn until_a_push(server: &Ntfy, publish: impl FnOnce()) -> Duration {
    let before = server.publishes();
    let start = Instant::now();
    publish();
    while server.publishes() == before {
        assert!(start.elapsed() < Duration::from_secs(60), "no push within a minute");
        std::thread::sleep(Duration::from_micros(200));
    }
    let time = start.elapsed();
    std::thread::sleep(Duration::from_millis(150));
    time
}

fn figures(memory: f64, processor: f64, alert: f64, mut times: Vec<Duration>) -> Figures {
    times.sort();
    let at =
        |share: f64| times[((times.len() as f64 * share).ceil() as usize).max(1) - 1].as_secs_f64() * 1e3;
    Figures { memory, processor, alert, median: at(0.5), slow: at(0.99) }
}

/// What the disk takes to keep a line for good.
fn a_sync() -> Duration {
    let mut file = tempfile::tempfile().unwrap();
    let mut times: Vec<Duration> = (0..50)
        .map(|_| {
            let start = Instant::now();
            file.write_all(&[b'x'; 200]).unwrap();
            file.sync_data().unwrap();
            start.elapsed()
        })
        .collect();
    times.sort();
    times[times.len() / 2]
}

/// MQTT in, under 54 mg/dL, a message, POST.
fn flow(broker: u16, server: &str) -> String {
    let topic = "a-topic-nobody-guesses-7f3k";
    let message =
        json!({ "topic": topic, "title": "Glucose is low", "message": "{{payload.glucose}} mg/dL" });
    json!([
        { "id": "tab", "type": "tab", "label": "low" },
        { "id": "broker", "type": "mqtt-broker", "broker": "127.0.0.1", "port": broker.to_string(),
          "clientid": "flow", "autoConnect": true, "usetls": false, "protocolVersion": "4", "keepalive": "60",
          "cleansession": true },
        { "id": "in", "z": "tab", "type": "mqtt in", "topic": "lowtide/in/+/reading", "qos": "1", "datatype": "json",
          "broker": "broker", "wires": [["low"]] },
        { "id": "low", "z": "tab", "type": "switch", "property": "payload.glucose", "propertyType": "msg",
          "rules": [{ "t": "lt", "v": "54", "vt": "num" }], "outputs": 1, "wires": [["text"]] },
        { "id": "text", "z": "tab", "type": "template", "field": "payload", "fieldType": "msg", "format": "json",
          "syntax": "mustache", "output": "json", "template": message.to_string(), "wires": [["post"]] },
        { "id": "post", "z": "tab", "type": "http request", "method": "POST", "ret": "txt", "url": server,
          "wires": [[]] }
    ])
    .to_string()
}
