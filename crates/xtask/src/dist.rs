//! Assembles the finished page: files named by their content, and a worker that knows them all.
//!
//! The same sources give the same bytes: nothing here depends on a clock, a path or an order of chance.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{fmt, fs, io};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use sha2::{Digest as _, Sha256};
use xtask::policy::CONTENT_SECURITY_POLICY;
use xtask::site::HASH_DIGITS;

use crate::apart::apart;
use crate::compile::Compiled;
use crate::wasm::WasmError;
use crate::workspace::Workspace;

/// Why the page could not be assembled.
#[derive(Debug)]
pub enum DistError {
    /// A source file could not be read.
    Unreadable(PathBuf, io::Error),
    /// A finished file could not be written.
    Unwritable(PathBuf, io::Error),
    /// A template does not mention something it has to.
    PlaceholderMissing {
        /// The template.
        file: &'static str,
        /// The words it lacks.
        placeholder: &'static str,
    },
    /// The module cannot be taken apart.
    Wasm(WasmError),
    /// A finished file names a folder of the machine it was built on.
    NamesPlace {
        /// The file.
        file: String,
        /// The folder.
        place: PathBuf,
    },
}

impl fmt::Display for DistError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(path, error) => write!(f, "{} cannot be read: {error}", path.display()),
            Self::Unwritable(path, error) => write!(f, "{} cannot be written: {error}", path.display()),
            Self::PlaceholderMissing { file, placeholder } => {
                write!(f, "{file} does not mention {placeholder}")
            }
            Self::Wasm(error) => error.fmt(f),
            Self::NamesPlace { file, place } => {
                write!(f, "{file} names {}, a folder of this machine", place.display())
            }
        }
    }
}

/// Files by their name relative to the page.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Writes the finished page into the workspace's dist folder, replacing what was there.
///
/// # Errors
/// When a source is missing, a template lacks a placeholder, or the folder cannot be written.
pub fn assemble(workspace: &Workspace, compiled: Compiled) -> Result<(), DistError> {
    let places = workspace.places();
    tells_no_place(&places, "the module", &compiled.wasm)?;
    let files = page(workspace, compiled)?;
    for (name, bytes) in &files {
        tells_no_place(&places, name, bytes)?;
    }
    write(&workspace.dist(), files)
}

/// Refuses a file that holds the path of a folder of this machine: elsewhere it would come out another.
fn tells_no_place(places: &[PathBuf], file: &str, bytes: &[u8]) -> Result<(), DistError> {
    for place in places {
        let text = format!("{}{}", place.display(), std::path::MAIN_SEPARATOR);
        if bytes.windows(text.len()).any(|part| part == text.as_bytes()) {
            return Err(DistError::NamesPlace { file: file.to_owned(), place: place.clone() });
        }
    }
    Ok(())
}

/// Writes files into a folder, replacing what was there.
///
/// # Errors
/// When the folder cannot be written.
pub fn write(folder: &Path, files: Files) -> Result<(), DistError> {
    let unwritable = |path: &Path| {
        let path = path.to_owned();
        move |error| DistError::Unwritable(path, error)
    };
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(unwritable(folder))?;
    }
    for (name, bytes) in files {
        let path = folder.join(name);
        let parent = path.parent().unwrap_or(folder);
        fs::create_dir_all(parent).map_err(unwritable(parent))?;
        fs::write(&path, bytes).map_err(unwritable(&path))?;
    }
    Ok(())
}

fn page(workspace: &Workspace, compiled: Compiled) -> Result<Files, DistError> {
    let app = workspace.root.join("app");
    let mut files = Files::new();
    read_folder(&app.join("icons"), "icons", &mut files)?;
    files.insert("manifest.webmanifest".to_owned(), read(&app.join("manifest.webmanifest"))?);

    let style =
        add_hashed(&mut files, "style", "css", lean(&read_text(&app.join("style.css"))?).into_bytes());
    // It is no module yet, but what is named so is what hosts compress.
    let wasm = add_hashed(&mut files, "app", "wasm", apart(&compiled.wasm).map_err(DistError::Wasm)?);
    let start = fill("app/together.js", &read_text(&app.join("together.js"))?, &[("app.wasm", &wasm)])?;
    let script = lean(&[own_part(&compiled.script)?, &start].concat());
    let script = add_hashed(&mut files, "app", "js", script.into_bytes());
    let boot = fill("app/boot.js", &lean(&read_text(&app.join("boot.js"))?), &[("app.js", &script)])?;
    let boot = add_hashed(&mut files, "boot", "js", boot.into_bytes());

    let index = fill(
        "index.html",
        &read_text(&workspace.root.join("index.html"))?,
        &[
            ("style.css", &style),
            ("app.wasm", &wasm),
            ("app.js", &script),
            ("boot.js", &boot),
            ("{{content security policy}}", CONTENT_SECURITY_POLICY),
        ],
    )?;
    files.insert("index.html".to_owned(), index.into_bytes());

    // Last, for it lists all the others.
    let (list, version) = list(&files);
    let worker = fill(
        "app/sw.js",
        &lean(&read_text(&app.join("sw.js"))?),
        &[("{{version}}", &version), ("/* {{files}} */", &list)],
    )?;
    files.insert("sw.js".to_owned(), worker.into_bytes());
    Ok(files)
}

/// The wasm-bindgen script without its ways to load a module, of which `app/together.js` has its own.
fn own_part(script: &str) -> Result<&str, DistError> {
    let (file, placeholder) = ("the wasm-bindgen script", "async function __wbg_load(");
    let own = script.split_once(placeholder).map(|(own, _)| own);
    own.ok_or(DistError::PlaceholderMissing { file, placeholder })
}

/// A script or style sheet without its indentation, empty lines, and comments that have lines to themselves
/// (save placeholders). What stands on a line is not touched, so neither may hold a text of several lines.
fn lean(text: &str) -> String {
    let mut kept = String::with_capacity(text.len());
    let mut in_comment = false;
    for line in text.lines().map(str::trim) {
        // Not a placeholder, and not code behind a comment.
        let alone = line.find("*/").is_none_or(|end| end + 2 == line.len());
        let opens = line.starts_with("/*") && alone && !line.contains("{{");
        if in_comment || opens {
            in_comment = !line.ends_with("*/");
        } else if !line.is_empty() && !line.starts_with("//") {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    kept
}

/// The worker's list of files, each with the checksum a browser verifies, and a version that changes
/// when any name or content does.
fn list(files: &Files) -> (String, String) {
    let mut list = String::new();
    for (name, bytes) in files {
        // Hosts answer for the folder itself; some answer `index.html` with a detour to it.
        let name = if name == "index.html" { "./" } else { name };
        let checksum = BASE64.encode(Sha256::digest(bytes));
        let _ = writeln!(list, "  [\"{name}\", \"sha256-{checksum}\"],");
    }
    let version = hash(list.as_bytes());
    (list, version)
}

fn hash(bytes: &[u8]) -> String {
    let mut digits = String::new();
    for byte in Sha256::digest(bytes).iter().take(HASH_DIGITS / 2) {
        let _ = write!(digits, "{byte:02x}");
    }
    digits
}

fn add_hashed(files: &mut Files, stem: &str, extension: &str, bytes: Vec<u8>) -> String {
    let name = format!("{stem}-{}.{extension}", hash(&bytes));
    files.insert(name.clone(), bytes);
    name
}

fn fill(file: &'static str, template: &str, values: &[(&'static str, &str)]) -> Result<String, DistError> {
    let mut text = template.to_owned();
    for &(placeholder, value) in values {
        if !text.contains(placeholder) {
            return Err(DistError::PlaceholderMissing { file, placeholder });
        }
        text = text.replace(placeholder, value);
    }
    Ok(text)
}

fn read(path: &Path) -> Result<Vec<u8>, DistError> {
    fs::read(path).map_err(|error| DistError::Unreadable(path.to_owned(), error))
}

fn read_text(path: &Path) -> Result<String, DistError> {
    fs::read_to_string(path).map_err(|error| DistError::Unreadable(path.to_owned(), error))
}

fn read_folder(folder: &Path, prefix: &str, files: &mut Files) -> Result<(), DistError> {
    let unreadable = |error| DistError::Unreadable(folder.to_owned(), error);
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if let Some(name) = path.file_name() {
            files.insert(format!("{prefix}/{}", name.to_string_lossy()), read(&path)?);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_version_follows_names_and_contents() {
        let files = |name: &str, bytes: &[u8]| Files::from([(name.to_owned(), bytes.to_vec())]);
        let (_, version) = list(&files("a", b"1"));
        assert_eq!(list(&files("a", b"1")).1, version);
        assert_ne!(list(&files("a", b"2")).1, version);
        assert_ne!(list(&files("b", b"1")).1, version);
    }

    #[test]
    fn comments_and_indentation_stay_behind() {
        let text = "/* What\n   it is. */\na {\n  b: c; /* kept */\n}\n\n  // gone\n  /** gone */\n  const d = [\n  /* {{files}} */\n  ];";
        assert_eq!(lean(text), "a {\nb: c; /* kept */\n}\nconst d = [\n/* {{files}} */\n];\n");
    }

    #[test]
    fn a_file_that_names_a_folder_of_this_machine_is_refused() {
        let places = [PathBuf::from("/a/checkout")];
        let inside = places[0].join("app/src/lib.rs");
        let told = tells_no_place(&places, "app.js", format!("\0{}", inside.display()).as_bytes());
        assert!(matches!(told, Err(DistError::NamesPlace { file, .. }) if file == "app.js"));
        assert!(tells_no_place(&places, "app.js", b"./app/src/lib.rs and /a/checkouts").is_ok());
    }

    #[test]
    fn a_template_without_its_placeholder_is_refused() {
        let refused = fill("sw.js", "nothing here", &[("{{version}}", "1")]);
        assert!(matches!(refused, Err(DistError::PlaceholderMissing { placeholder: "{{version}}", .. })));
    }
}
