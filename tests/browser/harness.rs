//! A host for the built page and a browser to visit it with.
//!
//! ```ignore
//! let host = host("/");
//! let visitor = Visitor::phone().await;
//! visitor.open(&host.url()).await;
//! visitor.until("document.querySelector('h1')").await;   // any script expression
//! visitor.find(By::Css("button")).await?.click().await?; // all of thirtyfour's WebDriver
//! host.stop();                                           // now the visitor is offline
//! visitor.assert_quiet(&url).await;                      // no console problem, nothing left the origin
//! ```

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::LazyLock;
use std::time::{Duration, Instant};
use std::{env, fs, process};

use serde_json::{Value, json};
use thirtyfour::LoggingPrefsLogLevel;
use thirtyfour::prelude::*;
use xtask::browser;
use xtask::server::{Port, Server};
use xtask::site::Site;

/// How long anything on the page may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(20);

/// Reading it packs every file as small as it goes, which takes longer than most tests.
static BUILT: LazyLock<Site> = LazyLock::new(|| {
    let folder = env::var_os("TARTWRIGHT_DIST")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/dist"), PathBuf::from);
    Site::load(&folder, "/").unwrap()
});

/// The built page as `cargo xtask dist` left it, below `base`.
pub fn built(base: &str) -> Site {
    BUILT.clone().below(base).unwrap()
}

/// Hosts the built page on a free port, below `base`. Stopping the host is how a test goes offline.
pub fn host(base: &str) -> Server {
    Server::start(built(base), Port::Any).unwrap()
}

/// The screen a visitor looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    /// 390 by 844, touch.
    Phone,
    /// 1280 by 900, mouse.
    Desktop,
}

/// A browser with an empty profile of its own. Derefs to thirtyfour's `WebDriver`.
/// The browser ends with it, also when a test fails.
pub struct Visitor {
    driver: WebDriver,
    remote: RemoteControl,
    screen: Screen,
}

impl Deref for Visitor {
    type Target = WebDriver;

    fn deref(&self) -> &WebDriver {
        &self.driver
    }
}

impl Visitor {
    /// Someone with a phone in hand.
    pub async fn phone() -> Self {
        Self::with(Screen::Phone).await
    }

    /// Someone at a desk.
    pub async fn desktop() -> Self {
        Self::with(Screen::Desktop).await
    }

    async fn with(screen: Screen) -> Self {
        let browser = browser::find().unwrap();
        let remote = RemoteControl::start(&browser);
        let mut wanted = DesiredCapabilities::chrome();
        wanted.set_binary(&which(&browser.chrome)).unwrap();
        for argument in [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            // No name resolves: whatever tried to leave this computer would fail, and show.
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
            &format!("--user-data-dir={}", remote.profile.display()),
        ] {
            wanted.add_arg(argument).unwrap();
        }
        match screen {
            Screen::Phone => wanted
                .add_experimental_option(
                    "mobileEmulation",
                    json!({ "deviceMetrics": { "width": 390, "height": 844, "pixelRatio": 2.0, "touch": true } }),
                )
                .unwrap(),
            Screen::Desktop => wanted.add_arg("--window-size=1280,900").unwrap(),
        }
        wanted
            .set_logging_prefs("performance".to_owned(), LoggingPrefsLogLevel::All)
            .and_then(|()| wanted.set_browser_log_level(LoggingPrefsLogLevel::All))
            .unwrap();
        let driver = WebDriver::new(&remote.address(), wanted).await.unwrap();
        let visitor = Self { driver, remote, screen };
        visitor.fit_screen().await;
        visitor
    }

    /// A headless window counts its frame into its size; the page must get all of it.
    async fn fit_screen(&self) {
        if self.screen == Screen::Desktop {
            let metrics = json!({ "width": 1280, "height": 900, "deviceScaleFactor": 1, "mobile": false });
            self.cdp("Emulation.setDeviceMetricsOverride", metrics).await;
        }
    }

    /// Opens a page and waits until the app has put its first view up.
    pub async fn open(&self, url: &str) {
        self.goto(url).await.unwrap();
        self.ready().await;
    }

    /// Loads the page again, as pulling it down does, and waits for the app.
    pub async fn reload(&self) {
        self.refresh().await.unwrap();
        self.ready().await;
    }

    /// Waits until the app has put its first view up.
    pub async fn ready(&self) {
        self.until("performance.getEntriesByName('tartwright-ready').length > 0").await;
    }

    /// Waits until this page is served by its worker, that is, until it works offline.
    pub async fn until_offline_ready(&self) {
        self.until("navigator.serviceWorker.controller?.state === 'activated'").await;
    }

    /// Waits until a script expression is true; fails the test when it never is.
    pub async fn until(&self, expression: &str) {
        let begun = Instant::now();
        while self.value(&format!("Boolean(await ({expression}))")).await != json!(true) {
            if begun.elapsed() > PATIENCE {
                let page = self.source().await.unwrap_or_default();
                let console = self.console_problems().await;
                panic!("never came true: {expression}\nconsole: {console:#?}\npage: {page}");
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// The value of a script expression; promises are waited for.
    pub async fn value(&self, expression: &str) -> Value {
        let script = format!("return await ({expression});");
        self.execute(format!("return (async () => {{ {script} }})();"), Vec::new())
            .await
            .unwrap()
            .json()
            .clone()
    }

    /// Sends one command of the browser's own protocol.
    pub async fn cdp(&self, method: &str, parameters: Value) -> Value {
        self.driver.cdp().send_raw(method, parameters).await.unwrap()
    }

    /// Slows the browser to a cheap phone on a poor connection.
    pub async fn slow_down(&self) {
        self.cdp("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await;
        self.cdp("Network.enable", json!({})).await;
        let bytes_per_second = 1_600_000 / 8;
        self.cdp(
            "Network.emulateNetworkConditions",
            json!({
                "offline": false, "latency": 150,
                "downloadThroughput": bytes_per_second, "uploadThroughput": bytes_per_second,
            }),
        )
        .await;
    }

    /// Warnings and errors of the console since the last call.
    pub async fn console_problems(&self) -> Vec<String> {
        let log = self.driver.get_log("browser").await.unwrap();
        let bad = log.into_iter().filter(|entry| matches!(entry.level.as_str(), "SEVERE" | "WARNING"));
        bad.map(|entry| entry.message).collect()
    }

    /// The addresses requested since the last call that are not below `origin`.
    pub async fn requests_leaving(&self, origin: &str) -> Vec<String> {
        let log = self.driver.get_log("performance").await.unwrap();
        log.iter()
            .filter_map(|entry| serde_json::from_str::<Value>(&entry.message).ok())
            .filter(|event| event["message"]["method"] == "Network.requestWillBeSent")
            .filter_map(|event| event["message"]["params"]["request"]["url"].as_str().map(str::to_owned))
            .filter(|url| url.starts_with("http") && !url.starts_with(origin))
            .collect()
    }

    /// Holds the visit so far to what the app promises: a silent console and not one request elsewhere.
    pub async fn assert_quiet(&self, origin: &str) {
        assert_eq!(self.console_problems().await, Vec::<String>::new(), "console");
        assert_eq!(self.requests_leaving(origin).await, Vec::<String>::new(), "requests leaving {origin}");
    }

    /// Saves what is on the screen as a PNG file, making its folder.
    pub async fn picture(&self, path: &Path) {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        self.driver.screenshot(path).await.unwrap();
    }
}

impl Drop for Visitor {
    fn drop(&mut self) {
        // Blocking, for a failing test has no time to await anything.
        self.remote.end_session(&self.driver.session_id().to_string());
        let _ = self.driver.clone().leak();
    }
}

/// A chromedriver process and the profile folder of the browser it starts.
struct RemoteControl {
    process: Child,
    /// Kept open: a driver whose output nobody can read would stop at its next word.
    _words: BufReader<ChildStdout>,
    port: u16,
    profile: PathBuf,
}

impl RemoteControl {
    fn start(browser: &browser::Browser) -> Self {
        // The port it takes for one kind of address may be somebody's for the other; then it stops.
        let (process, words, port) =
            (0..3).find_map(|_| Self::try_start(browser)).expect("chromedriver says which port it took");
        let profile = env::temp_dir().join(format!("tartwright-{}-{port}", process::id()));
        Self { process, _words: words, port, profile }
    }

    fn try_start(browser: &browser::Browser) -> Option<(Child, BufReader<ChildStdout>, u16)> {
        let mut process =
            Command::new(&browser.driver).arg("--port=0").stdout(Stdio::piped()).spawn().unwrap();
        let mut words = BufReader::new(process.stdout.take().unwrap());
        let port = (&mut words)
            .lines()
            .map_while(Result::ok)
            .find_map(|line| line.split_once("successfully on port ")?.1.trim_end_matches('.').parse().ok());
        if port.is_none() {
            let _ = process.wait();
        }
        Some((process, words, port?))
    }

    fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    fn end_session(&self, session: &str) {
        let Ok(mut stream) = TcpStream::connect(("127.0.0.1", self.port)) else { return };
        let _ = stream.set_read_timeout(Some(Duration::from_secs(5)));
        let _ = write!(
            stream,
            "DELETE /session/{session} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            self.port
        );
        // The answer comes when the browser is gone.
        let _ = stream.read(&mut [0; 64]);
    }
}

impl Drop for RemoteControl {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
        let _ = fs::remove_dir_all(&self.profile);
    }
}

/// The full path of a program, which chromedriver insists on.
fn which(program: &std::ffi::OsStr) -> String {
    let path = env::var_os("PATH").unwrap_or_default();
    let found = env::split_paths(&path).map(|folder| folder.join(program)).find(|path| path.is_file());
    found.unwrap_or_else(|| program.into()).to_string_lossy().into_owned()
}
