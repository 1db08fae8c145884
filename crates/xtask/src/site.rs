//! A folder of built files, held in memory and ready to be sent.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::{fmt, fs, io};

/// One file as a host sends it.
#[derive(Debug, Clone)]
pub struct Asset {
    /// The bytes as built.
    pub raw: Vec<u8>,
    /// The bytes under brotli at its highest quality.
    pub brotli: Vec<u8>,
    /// The Content-Type header.
    pub mime: &'static str,
    /// Whether the name carries the content's hash, so that a browser may keep the file for ever.
    pub immutable: bool,
}

/// All files of one build under a base path.
#[derive(Debug, Clone)]
pub struct Site {
    base: String,
    assets: BTreeMap<String, Asset>,
}

/// Why a folder cannot be served.
#[derive(Debug)]
pub enum SiteError {
    /// The folder holds no index.html: it was never built.
    NotBuilt(PathBuf),
    /// A file or folder could not be read.
    Unreadable(PathBuf, io::Error),
    /// The base path must start and end with a slash.
    BaseWithoutSlashes(String),
}

impl fmt::Display for SiteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBuilt(path) => {
                write!(f, "{} holds no index.html; run `cargo xtask dist` first", path.display())
            }
            Self::Unreadable(path, error) => write!(f, "{} cannot be read: {error}", path.display()),
            Self::BaseWithoutSlashes(base) => {
                write!(f, "the base path {base:?} must start and end with a slash, as in /a/b/")
            }
        }
    }
}

impl std::error::Error for SiteError {}

impl Site {
    /// Reads every file below `folder`; the site answers below `base`, such as `/` or `/brewing/app/`.
    ///
    /// # Errors
    /// When the folder was never built, a file cannot be read, or `base` lacks its slashes.
    pub fn load(folder: &Path, base: &str) -> Result<Self, SiteError> {
        if !folder.join("index.html").is_file() {
            return Err(SiteError::NotBuilt(folder.to_owned()));
        }
        let mut site = Self { base: "/".to_owned(), assets: BTreeMap::new() }.below(base)?;
        site.read(folder, "")?;
        Ok(site)
    }

    /// The same files below another path.
    ///
    /// # Errors
    /// When `base` lacks its slashes.
    pub fn below(self, base: &str) -> Result<Self, SiteError> {
        if !base.starts_with('/') || !base.ends_with('/') {
            return Err(SiteError::BaseWithoutSlashes(base.to_owned()));
        }
        Ok(Self { base: base.to_owned(), ..self })
    }

    fn read(&mut self, folder: &Path, prefix: &str) -> Result<(), SiteError> {
        let unreadable = |error| SiteError::Unreadable(folder.to_owned(), error);
        for entry in fs::read_dir(folder).map_err(unreadable)? {
            let entry = entry.map_err(unreadable)?;
            let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
            let path = entry.path();
            if path.is_dir() {
                self.read(&path, &format!("{name}/"))?;
            } else if !name.ends_with(PACKED) {
                let raw = fs::read(&path).map_err(|error| SiteError::Unreadable(path, error))?;
                self.assets.insert(name.clone(), Asset::new(&name, raw));
            }
        }
        Ok(())
    }

    /// The path below which the site answers; starts and ends with a slash.
    #[must_use]
    pub fn base(&self) -> &str {
        &self.base
    }

    /// The files by their name relative to the base, in order.
    pub fn assets(&self) -> impl Iterator<Item = (&str, &Asset)> {
        self.assets.iter().map(|(name, asset)| (name.as_str(), asset))
    }

    /// Replaces one file's bytes, or adds it: tests stage a new version of the app with this.
    pub fn set(&mut self, name: &str, raw: Vec<u8>) {
        self.assets.insert(name.to_owned(), Asset::new(name, raw));
    }

    /// Adds a file as it is given, whatever its name says of its kind: so a host that answers wrongly is staged.
    pub fn put(&mut self, name: &str, asset: Asset) {
        self.assets.insert(name.to_owned(), asset);
    }

    /// Leaves a file out, as a deployment does that stopped half way.
    pub fn remove(&mut self, name: &str) -> Option<Asset> {
        self.assets.remove(name)
    }

    /// The file a request path asks for; the base path itself means `index.html`.
    #[must_use]
    pub fn find(&self, path: &str) -> Option<&Asset> {
        let name = path.strip_prefix(&self.base)?;
        self.assets.get(if name.is_empty() { "index.html" } else { name })
    }
}

impl Asset {
    /// A file of this name and content; compressing it takes a while when it is large.
    #[must_use]
    pub fn new(name: &str, raw: Vec<u8>) -> Self {
        Self { brotli: compress(&raw), mime: mime(name), immutable: carries_hash(name), raw }
    }
}

/// Compresses once and for all, as for a static host that serves what was packed before: brotli, quality 11,
/// and the best of the hints that the format's encoder takes. A module taken apart is packed stream by stream, each
/// with codes of its own: the encoder by itself does not see where one ends and another begins.
fn compress(raw: &[u8]) -> Vec<u8> {
    use brotli::enc::backward_references::BrotliEncoderMode::{
        BROTLI_MODE_FONT, BROTLI_MODE_GENERIC, BROTLI_MODE_TEXT,
    };
    let hints = match streams(raw) {
        Some(cuts) => vec![(BROTLI_MODE_GENERIC, Vec::new()), (BROTLI_MODE_FONT, cuts)],
        None => {
            [BROTLI_MODE_GENERIC, BROTLI_MODE_TEXT, BROTLI_MODE_FONT].map(|mode| (mode, Vec::new())).into()
        }
    };
    let all = hints.into_iter().map(|(mode, cuts)| packed(raw, mode, &cuts));
    all.min_by_key(Vec::len).unwrap_or_else(|| raw.to_vec())
}

/// A module taken apart is larger than this; of what is smaller, parts do not pay.
const LEAST: usize = 1 << 16;

/// How many streams a block of functions has in a module taken apart.
pub const STREAMS: usize = 10;
/// How many blocks there are.
pub const BLOCKS: usize = 2;
/// How many bytes the lengths have that it begins with: of its head, and of each block with its streams.
pub const LENGTHS: usize = 4 * (1 + BLOCKS * (2 + STREAMS));

/// Where the streams of a module taken apart end, by what stands in front of them; `None` for anything else. It
/// decides how well the file is packed and nothing else, so a wrong guess does no harm.
fn streams(raw: &[u8]) -> Option<Vec<usize>> {
    if raw.len() < LEAST {
        return None;
    }
    let lengths = raw.get(..LENGTHS)?.as_chunks::<4>().0;
    let mut lengths = lengths.iter().map(|length| u32::from_le_bytes(*length) as usize);
    let mut at = LENGTHS.checked_add(lengths.next()?)?;
    let mut cuts = vec![at];
    for (place, length) in lengths.enumerate() {
        // Before its streams, each block says how many functions it has, and how long they are together.
        if place % (2 + STREAMS) >= 2 {
            at = at.checked_add(length).filter(|&at| at < raw.len())?;
            cuts.push(at);
        }
    }
    Some(cuts)
}

fn packed(raw: &[u8], mode: brotli::enc::backward_references::BrotliEncoderMode, cuts: &[usize]) -> Vec<u8> {
    let params = brotli::enc::BrotliEncoderParams {
        quality: 11,
        lgwin: 22,
        size_hint: raw.len(),
        mode,
        ..Default::default()
    };
    let write = || -> io::Result<Vec<u8>> {
        let mut packed = Vec::new();
        let mut writer = brotli::CompressorWriter::with_params(&mut packed, 4096, &params);
        let mut from = 0;
        for &cut in cuts {
            writer.write_all(raw.get(from..cut).unwrap_or_default())?;
            writer.flush()?;
            from = cut;
        }
        writer.write_all(raw.get(from..).unwrap_or_default())?;
        drop(writer);
        Ok(packed)
    };
    // Writing to a Vec cannot fail; were it ever to, the size gate must not see a small file.
    write().unwrap_or_else(|_| raw.to_vec())
}

/// How the names of packed copies end, which other hosts than ours send in place of the file.
pub const PACKED: &str = ".br";

/// Number of hexadecimal digits of a content hash in a file name.
pub const HASH_DIGITS: usize = 16;

fn carries_hash(name: &str) -> bool {
    let stem = name.rsplit('/').next().and_then(|file| file.split('.').next()).unwrap_or_default();
    stem.rsplit_once('-').is_some_and(|(_, hash)| {
        hash.len() == HASH_DIGITS && hash.bytes().all(|digit| digit.is_ascii_hexdigit())
    })
}

fn mime(name: &str) -> &'static str {
    match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        // Without exactly this type a browser refuses to compile while the bytes still arrive.
        Some("wasm") => "application/wasm",
        Some("webmanifest") => "application/manifest+json",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        _ => "application/octet-stream",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_hash_in_the_name_makes_a_file_immutable() {
        assert!(carries_hash("app-0123456789abcdef.wasm"));
        assert!(!carries_hash("index.html"));
        assert!(!carries_hash("icons/maskable-192.png"));
        assert!(!carries_hash("icons/apple-touch-icon.png"));
    }

    #[test]
    fn what_is_packed_in_parts_is_what_it_was_before() {
        use brotli::enc::backward_references::BrotliEncoderMode::BROTLI_MODE_FONT;
        // Two kinds of content behind the lengths of a module taken apart, nearly all of which are zero.
        let kind = |seed: u32, count: u32| (0..count).map(move |n| (n.wrapping_mul(seed) >> 28) as u8);
        let mut raw = vec![0; LENGTHS];
        raw[13] = 8;
        raw.extend(kind(2_654_435_761, 2048).chain(kind(12_345, LEAST as u32)));
        let cuts = streams(&raw).unwrap();
        assert_eq!(cuts[0], LENGTHS);
        assert_eq!(cuts[1..], [LENGTHS + 2048; BLOCKS * STREAMS]);
        let packed = packed(&raw, BROTLI_MODE_FONT, &cuts);
        let mut back = Vec::new();
        brotli::BrotliDecompress(&mut &packed[..], &mut back).unwrap();
        assert!(back == raw && packed.len() < raw.len());
    }

    #[test]
    fn what_is_no_module_taken_apart_has_no_streams() {
        for other in [&b""[..], b"\0asm\x01\0\0\0", b"<!doctype html><title>A page</title>"] {
            assert_eq!(streams(other), None, "{other:?}");
        }
    }

    #[test]
    fn a_base_path_needs_both_slashes() {
        for base in ["", "a/", "/a"] {
            let refused = Site { base: "/".to_owned(), assets: BTreeMap::new() }.below(base);
            assert!(matches!(refused, Err(SiteError::BaseWithoutSlashes(_))), "{base}");
        }
    }
}
