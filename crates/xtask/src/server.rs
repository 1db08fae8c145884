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
