//! A small static host on the loopback address: what a contributor serves with, and what tests stop to
//! go offline. It answers GET and HEAD for one [`Site`], nothing else.

use std::collections::HashMap;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::{fmt, io, thread};

use crate::policy::CONTENT_SECURITY_POLICY;
use crate::site::{Asset, Site};

/// Which port to listen on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Port {
    /// Any free one.
    Any,
    /// This one and no other.
    Exactly(u16),
    /// This one, or the next free of the hundred above it.
    From(u16),
}

/// Why the host could not start.
#[derive(Debug)]
pub enum ServerError {
    /// No port of those asked for was free.
    NoPort(Port, io::Error),
}

impl fmt::Display for ServerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPort(port, error) => write!(f, "no port to listen on ({port:?}): {error}"),
        }
    }
}

impl std::error::Error for ServerError {}

/// A running host. Dropping it stops it.
#[derive(Debug)]
pub struct Server {
    address: SocketAddr,
    shared: Arc<Shared>,
    acceptor: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    site: Mutex<Arc<Site>>,
    stopping: AtomicBool,
    /// Open connections, so that stopping cuts them instead of waiting for the browser to let go.
    open: Mutex<HashMap<u64, TcpStream>>,
}

impl Server {
    /// Starts answering for `site` on 127.0.0.1.
    ///
    /// # Errors
    /// When none of the ports asked for is free.
    pub fn start(site: Site, port: Port) -> Result<Self, ServerError> {
        let ports = match port {
            Port::Any => 0..=0,
            Port::Exactly(port) => port..=port,
            Port::From(port) => port..=port.saturating_add(100),
        };
        let (listener, address) = listen(ports).map_err(|error| ServerError::NoPort(port, error))?;
        let shared = Arc::new(Shared {
            site: Mutex::new(Arc::new(site)),
            stopping: AtomicBool::new(false),
            open: Mutex::new(HashMap::new()),
        });
        let acceptor = thread::spawn({
            let shared = Arc::clone(&shared);
            move || accept(&listener, &shared)
        });
        Ok(Self { address, shared, acceptor: Some(acceptor) })
    }

    /// The port it listens on.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.address.port()
    }

    /// The address of the app's first page.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}{}", self.address, lock(&self.shared.site).base())
    }

    /// Serves another build from now on, as a host does after a deployment.
    pub fn replace(&self, site: Site) {
        *lock(&self.shared.site) = Arc::new(site);
    }

    /// Waits for as long as the host runs.
    pub fn wait(mut self) {
        if let Some(acceptor) = self.acceptor.take() {
            let _ = acceptor.join();
        }
    }

    /// Stops: cuts open connections and refuses new ones. Returns when the port is closed.
    pub fn stop(self) {
        drop(self);
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.shared.stopping.store(true, Ordering::SeqCst);
        // One last connection wakes the acceptor, which then sees that it should end.
        let _ = TcpStream::connect(self.address);
        if let Some(acceptor) = self.acceptor.take() {
            let _ = acceptor.join();
        }
        for stream in lock(&self.shared.open).values() {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn listen(ports: impl Iterator<Item = u16>) -> io::Result<(TcpListener, SocketAddr)> {
    let mut failure = io::Error::from(io::ErrorKind::AddrNotAvailable);
    for port in ports {
        match TcpListener::bind((Ipv4Addr::LOCALHOST, port)) {
            Ok(listener) => {
                let address = listener.local_addr()?;
                return Ok((listener, address));
            }
            Err(error) => failure = error,
        }
    }
    Err(failure)
}

fn accept(listener: &TcpListener, shared: &Arc<Shared>) {
    for (id, stream) in (0..).zip(listener.incoming()) {
        if shared.stopping.load(Ordering::SeqCst) {
            return;
        }
        let Ok(stream) = stream else { continue };
        let Ok(handle) = stream.try_clone() else { continue };
        lock(&shared.open).insert(id, handle);
        let shared = Arc::clone(shared);
        thread::spawn(move || {
            // A broken connection is the browser's affair: it asks again.
            let _ = converse(stream, &shared);
            lock(&shared.open).remove(&id);
        });
    }
}

struct Request {
    head_only: bool,
    path: String,
    accepts_brotli: bool,
}

fn converse(stream: TcpStream, shared: &Shared) -> io::Result<()> {
    stream.set_nodelay(true)?;
    let mut writer = stream.try_clone()?;
    let mut reader = BufReader::new(stream);
    while let Some(request) = next_request(&mut reader)? {
        let site = Arc::clone(&lock(&shared.site));
        match site.find(&request.path) {
            Some(asset) => send(&mut writer, &request, asset)?,
            None => refuse(&mut writer, "404 Not Found")?,
        }
    }
    refuse(&mut writer, "400 Bad Request")
}

/// The next request of a kept-alive connection, or `None` when it is one this host does not answer.
fn next_request(reader: &mut BufReader<TcpStream>) -> io::Result<Option<Request>> {
    const LONGEST_HEAD: u64 = 1 << 16;
    let mut head = reader.take(LONGEST_HEAD);
    let mut line = String::new();
    if head.read_line(&mut line)? == 0 {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    let mut words = line.split_ascii_whitespace();
    let (method, target) = (words.next().unwrap_or_default(), words.next().unwrap_or_default());
    let path = target.split(['?', '#']).next().unwrap_or_default().to_owned();
    let known = matches!(method, "GET" | "HEAD");
    let head_only = method == "HEAD";
    let mut accepts_brotli = false;
    loop {
        line.clear();
        if head.read_line(&mut line)? == 0 {
            return Ok(None);
        }
        let Some((name, value)) = line.trim_end().split_once(':') else { break };
        if name.eq_ignore_ascii_case("accept-encoding") {
            accepts_brotli = value.split(',').any(|coding| coding.trim() == "br");
        }
    }
    Ok(known.then_some(Request { head_only, path, accepts_brotli }))
}

fn send(writer: &mut TcpStream, request: &Request, asset: &Asset) -> io::Result<()> {
    let smaller = asset.brotli.len() < asset.raw.len();
    let (body, coding) = if request.accepts_brotli && smaller {
        (&asset.brotli, "Content-Encoding: br\r\n")
    } else {
        (&asset.raw, "")
    };
    let cache = if asset.immutable { "public, max-age=31536000, immutable" } else { "no-cache" };
    let head = format!(
        "HTTP/1.1 200 OK\r\n\
         Content-Type: {}\r\n\
         Content-Length: {}\r\n\
         {coding}Vary: Accept-Encoding\r\n\
         Cache-Control: {cache}\r\n\
         X-Content-Type-Options: nosniff\r\n\
         Content-Security-Policy: {CONTENT_SECURITY_POLICY}; frame-ancestors 'none'\r\n\r\n",
        asset.mime,
        body.len(),
    );
    let mut answer = head.into_bytes();
    if !request.head_only {
        answer.extend_from_slice(body);
    }
    writer.write_all(&answer)
}

fn refuse(writer: &mut TcpStream, status: &str) -> io::Result<()> {
    write!(writer, "HTTP/1.1 {status}\r\nContent-Length: 0\r\nCache-Control: no-store\r\n\r\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::path::Path;

    const SHELL: &str = "<!doctype html><p>A page that is long enough to pack, pack, pack, pack, pack.</p>";

    /// A host of a page with one file of each kind, below a path.
    fn host() -> Server {
        let folder = std::env::temp_dir().join(format!("tartwright-server-{}", std::process::id()));
        let _ = fs::create_dir_all(&folder);
        fs::write(folder.join("index.html"), SHELL).unwrap();
        let mut site = Site::load(&folder, "/some/where/").unwrap();
        for name in ["sw.js", "manifest.webmanifest", "app-0123456789abcdef.wasm", "icons/mark.svg"] {
            site.set(name, b"x".to_vec());
        }
        Server::start(site, Port::Any).unwrap()
    }

    /// What the host answers: the head, and the body.
    fn asked(host: &Server, method: &str, path: &str, more: &str) -> (String, Vec<u8>) {
        let mut stream = TcpStream::connect(host.address).unwrap();
        write!(stream, "{method} {path} HTTP/1.1\r\nHost: here\r\n{more}\r\n").unwrap();
        stream.shutdown(Shutdown::Write).unwrap();
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let end = answer.windows(4).position(|part| part == b"\r\n\r\n").unwrap();
        (String::from_utf8(answer[..end].to_vec()).unwrap(), answer[end + 4..].to_vec())
    }

    fn header<'a>(head: &'a str, name: &str) -> Option<&'a str> {
        head.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
    }

    #[test]
    fn each_file_comes_with_the_headers_that_the_readme_asks_of_a_host() {
        let host = host();
        let policy = format!("{CONTENT_SECURITY_POLICY}; frame-ancestors 'none'");
        let (fresh, kept) = ("no-cache", "public, max-age=31536000, immutable");
        for (name, kind, cache) in [
            ("", "text/html; charset=utf-8", fresh),
            ("index.html", "text/html; charset=utf-8", fresh),
            ("sw.js", "text/javascript; charset=utf-8", fresh),
            ("manifest.webmanifest", "application/manifest+json", fresh),
            ("icons/mark.svg", "image/svg+xml", fresh),
            ("app-0123456789abcdef.wasm", "application/wasm", kept),
        ] {
            let (head, _) = asked(&host, "GET", &format!("/some/where/{name}"), "");
            assert!(head.starts_with("HTTP/1.1 200 OK"), "{name}: {head}");
            assert_eq!(header(&head, "Content-Type"), Some(kind), "{name}");
            assert_eq!(header(&head, "Cache-Control"), Some(cache), "{name}");
            assert_eq!(header(&head, "X-Content-Type-Options"), Some("nosniff"), "{name}");
            assert_eq!(header(&head, "Content-Security-Policy"), Some(&*policy), "{name}");
        }
        for outside in ["/", "/index.html", "/some/where", "/some/where/other.js"] {
            assert!(asked(&host, "GET", outside, "").0.starts_with("HTTP/1.1 404"), "{outside}");
        }
    }

    #[test]
    fn it_is_packed_for_those_who_say_that_they_can_unpack() {
        let host = host();
        let (head, body) = asked(&host, "GET", "/some/where/", "Accept-Encoding: gzip, br\r\n");
        assert_eq!(
            (header(&head, "Content-Encoding"), header(&head, "Vary")),
            (Some("br"), Some("Accept-Encoding"))
        );
        // Behind it stands the refusal of the request that never came.
        let length: usize = header(&head, "Content-Length").unwrap().parse().unwrap();
        let mut plain = Vec::new();
        brotli::BrotliDecompress(&mut &body[..length], &mut plain).unwrap();
        assert_eq!(plain, SHELL.as_bytes());
        let (head, body) = asked(&host, "GET", "/some/where/", "");
        assert_eq!(header(&head, "Content-Encoding"), None);
        assert!(body.starts_with(SHELL.as_bytes()));
        let (head, _) = asked(&host, "HEAD", "/some/where/", "");
        assert_eq!(header(&head, "Content-Length"), Some(&*SHELL.len().to_string()));
    }

    #[test]
    fn the_readme_shows_hosts_this_policy_and_no_other() {
        let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../README.md");
        let readme = fs::read_to_string(readme).unwrap();
        let shown = readme.matches("default-src").count();
        let policy = format!("{CONTENT_SECURITY_POLICY}; frame-ancestors 'none'");
        assert!(shown >= 3, "{shown}");
        assert_eq!(
            readme.matches(&policy).count(),
            shown,
            "README.md, \"Hosting it\": the policy is {policy}"
        );
    }
}
