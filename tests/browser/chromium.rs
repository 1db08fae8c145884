//! A browser that may be killed. The driver of the other tests gives its session up when a tab crashes, so this
//! one is spoken to without a driver, in the browser's own protocol over two pipes.
//!
//! Needs `sh` and `kill`, so a Unix.

use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::process::CommandExt as _;
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};
use std::{env, fs, process, thread};

use serde_json::{Value, json};
use xtask::browser;

/// How long the browser may take for one answer before a trial gives up.
const PATIENCE: Duration = Duration::from_secs(60);

/// A profile folder that outlives its browsers. Removed at the end.
pub struct Profile(PathBuf);

impl Profile {
    /// An empty one.
    pub fn new(name: &str) -> Self {
        Self(env::temp_dir().join(format!("tartwright-{name}-{}", process::id())))
    }
}

impl Drop for Profile {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// A running browser. Ends with its value.
pub struct Chromium {
    process: Child,
    to: ChildStdin,
    from: Receiver<(Instant, Value)>,
    asked: u64,
    /// Events that came while an answer was waited for.
    heard: Vec<(Instant, Value)>,
}

/// A tab.
pub struct Tab {
    target: String,
    session: String,
}

impl Chromium {
    /// Starts a browser on a profile.
    pub fn start(profile: &Profile) -> Self {
        let chrome = browser::find().unwrap().chrome;
        // The browser reads its commands from descriptor 3 and answers at 4.
        let mut process = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>&1"])
            .arg(chrome)
            .args([
                "--headless=new",
                "--remote-debugging-pipe",
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--disable-crash-reporter",
                "--hide-crash-restore-bubble",
                "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
            ])
            .arg(format!("--user-data-dir={}", profile.0.display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()
            .unwrap();
        let to = process.stdin.take().unwrap();
        let mut answers = BufReader::new(process.stdout.take().unwrap());
        let (tell, from) = channel();
        // Read at once, so that each event has the moment it came at.
        thread::spawn(move || {
            let mut text = Vec::new();
            while answers.read_until(0, &mut text).is_ok_and(|length| length > 0) {
                text.pop();
                let Ok(message) = serde_json::from_slice(&text) else { return };
                if tell.send((Instant::now(), message)).is_err() {
                    return;
                }
                text.clear();
            }
        });
        let mut browser = Self { process, to, from, asked: 0, heard: Vec::new() };
        browser.ask(None, "Browser.getVersion", json!({})).unwrap();
        browser
    }

    /// Sends a command and does not wait for its answer.
    pub fn tell(&mut self, tab: Option<&Tab>, method: &str, parameters: Value) -> u64 {
        self.asked += 1;
        let mut command = json!({ "id": self.asked, "method": method, "params": parameters });
        if let Some(tab) = tab {
            command["sessionId"] = json!(tab.session);
        }
        let mut text = command.to_string().into_bytes();
        text.push(0);
        self.to.write_all(&text).unwrap();
        self.asked
    }

    /// Sends a command and waits for its answer, which may be an error.
    pub fn ask(&mut self, tab: Option<&Tab>, method: &str, parameters: Value) -> Result<Value, String> {
        let id = self.tell(tab, method, parameters);
        let begun = Instant::now();
        loop {
            let left = PATIENCE.saturating_sub(begun.elapsed());
            let (at, mut message) = match self.from.recv_timeout(left) {
                Ok(message) => message,
                Err(RecvTimeoutError::Timeout) => panic!("{method} was never answered"),
                Err(RecvTimeoutError::Disconnected) => {
                    panic!("the browser ended before it answered {method}")
                }
            };
            if message["id"] == json!(id) {
                return match message.get("error") {
                    Some(error) => Err(error.to_string()),
                    None => Ok(message["result"].take()),
                };
            }
            self.heard.push((at, message));
        }
    }

    /// The events of this name that came since the last call, each with its moment; all others are dropped.
    pub fn events(&mut self, method: &str) -> Vec<(Instant, Value)> {
        self.heard.extend(self.from.try_iter());
        let all = std::mem::take(&mut self.heard);
        all.into_iter().filter(|(_, message)| message["method"] == method).collect()
    }

    /// Opens a tab at an address, with a script that runs before those of the page. What the script gives to
    /// `kept` comes as an event.
    pub fn open(&mut self, url: &str, script: &str) -> Tab {
        let target = self.ask(None, "Target.createTarget", json!({ "url": "about:blank" })).unwrap();
        let target = target["targetId"].as_str().unwrap().to_owned();
        let attached = json!({ "targetId": target, "flatten": true });
        let session = self.ask(None, "Target.attachToTarget", attached).unwrap();
        let tab = Tab { target, session: session["sessionId"].as_str().unwrap().to_owned() };
        for (method, parameters) in [
            ("Page.enable", json!({})),
            ("Runtime.enable", json!({})),
            ("Runtime.addBinding", json!({ "name": "kept" })),
            ("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script })),
            ("Page.navigate", json!({ "url": url })),
        ] {
            self.ask(Some(&tab), method, parameters).unwrap();
        }
        tab
    }

    /// Closes a tab, crashed or not.
    pub fn close(&mut self, tab: &Tab) {
        self.ask(None, "Target.closeTarget", json!({ "targetId": tab.target })).unwrap();
    }

    /// The value of a script expression; promises are waited for. `None` while there is no page to ask.
    pub fn value(&mut self, tab: &Tab, expression: &str) -> Option<Value> {
        let asked = json!({ "expression": expression, "awaitPromise": true, "returnByValue": true });
        let answer = self.ask(Some(tab), "Runtime.evaluate", asked).ok()?;
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {answer}");
        Some(answer["result"]["value"].clone())
    }

    /// Waits until a script expression is true.
    pub fn until(&mut self, tab: &Tab, expression: &str) {
        let begun = Instant::now();
        while self.value(tab, &format!("Boolean({expression})")) != Some(json!(true)) {
            assert!(begun.elapsed() < PATIENCE, "never came true: {expression}");
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// The processes that draw tabs and run their scripts.
    pub fn renderers(&mut self) -> Vec<u64> {
        let all = self.ask(None, "SystemInfo.getProcessInfo", json!({})).unwrap();
        let all = all["processInfo"].as_array().unwrap().iter();
        all.filter(|one| one["type"] == "renderer").filter_map(|one| one["id"].as_u64()).collect()
    }

    /// Kills some of this browser's processes at once, as a phone does that is short of memory.
    pub fn kill(&mut self, processes: &[u64]) {
        let names = processes.iter().map(u64::to_string);
        // One may have ended by itself; then the others are killed all the same.
        let _ = Command::new("kill").arg("-KILL").args(names).stderr(Stdio::null()).status().unwrap();
        let begun = Instant::now();
        while self.renderers().iter().any(|one| processes.contains(one)) {
            assert!(begun.elapsed() < PATIENCE, "{processes:?} live on");
            thread::sleep(Duration::from_millis(5));
        }
    }

    /// Kills the whole browser, as a power cut does.
    pub fn die(mut self) {
        self.kill_all();
    }

    /// Ends the browser as closing its last window does: all is written to the disk.
    pub fn quit(mut self) {
        self.ask(None, "Browser.close", json!({})).unwrap();
        self.process.wait().unwrap();
    }

    fn kill_all(&mut self) {
        // Only what this browser's own process began.
        let _ = Command::new("kill").args(["-KILL", "--", &format!("-{}", self.process.id())]).status();
        let _ = self.process.wait();
    }
}

impl Drop for Chromium {
    fn drop(&mut self) {
        if matches!(self.process.try_wait(), Ok(None)) {
            self.kill_all();
        }
    }
}
