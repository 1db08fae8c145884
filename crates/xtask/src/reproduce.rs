//! Whether the page comes out the same elsewhere: built here, and from a copy of the checkout at another path.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fmt, fs, io};

use sha2::{Digest as _, Sha256};
use xtask::site::{Site, SiteError};

use crate::progress::Progress;
use crate::serve::build;
use crate::task::TaskError;
use crate::workspace::{CommandError, Workspace, output, run};

/// Why the page is not known to be the same everywhere.
#[derive(Debug)]
pub enum ReproduceError {
    /// The list of the checkout's files, or the build of the copy, failed.
    Command(CommandError),
    /// The copy could not be made.
    NotCopied(PathBuf, io::Error),
    /// A page that was built is not where it should be.
    Site(SiteError),
    /// These files are not the same, or only in one of the two pages.
    Differs(Vec<String>),
}

impl fmt::Display for ReproduceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Command(error) => error.fmt(f),
            Self::NotCopied(path, error) => write!(f, "{} could not be copied: {error}", path.display()),
            Self::Site(error) => error.fmt(f),
            Self::Differs(names) => {
                write!(f, "the page built from a copy is another one: {}", names.join(", "))
            }
        }
    }
}

/// The checksums of all files, as `sha256sum` writes them, in the order of their names.
pub fn checksums(site: &Site) -> String {
    let mut lines = String::new();
    for (name, asset) in site.assets() {
        let _ = writeln!(lines, "{}  {name}", digits(&asset.raw));
    }
    lines
}

/// One checksum for the whole page: that of the list of [`checksums`].
pub fn checksum(site: &Site) -> String {
    digits(checksums(site).as_bytes())
}

fn digits(bytes: &[u8]) -> String {
    let mut digits = String::new();
    for byte in Sha256::digest(bytes) {
        let _ = write!(digits, "{byte:02x}");
    }
    digits
}

/// Builds the page here, then from a copy of the files that git keeps, at another path, into another folder,
/// with the crates at another path, another clock and language, and one job at a time; and compares.
///
/// # Errors
/// When one of them does not build, or when they differ.
pub fn reproduce(workspace: &Workspace) -> Result<(), TaskError> {
    let progress = Progress::begin();
    build(workspace, &progress)?;
    progress.step("Building it again from a copy at another path");
    let place = workspace.target.join("reproduce");
    // Blanks, and another length: what depends on a path shows.
    let copy = place.join("a copy of the checkout");
    copy_tracked(workspace, &copy)?;
    let built = place.join("built");
    let crates = place.join("crates");
    // What is found there from an earlier run would be compared with itself.
    remove(&built)?;
    let program = env::current_exe().map_err(|error| not_copied(&copy, error))?;
    let mut again = Command::new(program);
    again
        .arg("dist")
        .current_dir(&copy)
        .env("CARGO_MANIFEST_DIR", copy.join("crates/xtask"))
        .env("CARGO_TARGET_DIR", &built)
        .env("CARGO_BUILD_JOBS", "1")
        .envs([("TZ", "Pacific/Auckland"), ("LC_ALL", "C"), ("LANG", "tr_TR.UTF-8")]);
    if point_to(&workspace.cargo_home(), &crates)? {
        again.env("CARGO_HOME", &crates);
    }
    run(&mut again).map_err(ReproduceError::Command)?;

    let load = |folder: &Path| Site::load(folder, "/").map_err(ReproduceError::Site);
    let (here, there) = (load(&workspace.dist())?, load(&built.join("dist"))?);
    let differing = differing(&here, &there);
    if !differing.is_empty() {
        return Err(ReproduceError::Differs(differing).into());
    }
    println!("the same, byte for byte: {}", checksum(&here));
    Ok(())
}

/// The names of files that are not the same in both.
fn differing(here: &Site, there: &Site) -> Vec<String> {
    let (here, there) = (checksums(here), checksums(there));
    let only = |one: &str, other: &str| {
        let lines = one.lines().filter(|line| !other.lines().any(|there| there == *line));
        lines.filter_map(|line| line.split("  ").nth(1)).map(str::to_owned).collect::<Vec<_>>()
    };
    let mut names = [only(&here, &there), only(&there, &here)].concat();
    names.sort();
    names.dedup();
    names
}

/// Copies what git keeps, as it stands on the disk.
fn copy_tracked(workspace: &Workspace, copy: &Path) -> Result<(), ReproduceError> {
    remove(copy)?;
    let mut list = Command::new("git");
    list.current_dir(&workspace.root).args(["ls-files", "-z"]);
    let list = output(&mut list).map_err(ReproduceError::Command)?;
    for name in list.split('\0').filter(|name| !name.is_empty()) {
        let (from, to) = (workspace.root.join(name), copy.join(name));
        let folder = to.parent().unwrap_or(copy);
        fs::create_dir_all(folder).map_err(|error| not_copied(folder, error))?;
        fs::copy(&from, &to).map_err(|error| not_copied(&from, error))?;
    }
    Ok(())
}

fn remove(folder: &Path) -> Result<(), ReproduceError> {
    match fs::remove_dir_all(folder) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(not_copied(folder, error)),
        _ => Ok(()),
    }
}

fn not_copied(path: &Path, error: io::Error) -> ReproduceError {
    ReproduceError::NotCopied(path.to_owned(), error)
}

/// Makes cargo's folder known under another path, and says whether this system can.
#[cfg(unix)]
fn point_to(folder: &Path, link: &Path) -> Result<bool, ReproduceError> {
    match fs::remove_file(link) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(not_copied(link, error)),
        _ => {}
    }
    std::os::unix::fs::symlink(folder, link).map_err(|error| not_copied(link, error))?;
    Ok(true)
}

/// Makes cargo's folder known under another path, and says whether this system can.
#[cfg(not(unix))]
fn point_to(_: &Path, _: &Path) -> Result<bool, ReproduceError> {
    Ok(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(name: &str, files: &[(&str, &str)]) -> Site {
        let folder = env::temp_dir().join(format!("tartwright-reproduce-{}-{name}", std::process::id()));
        fs::create_dir_all(folder.join("icons")).unwrap();
        fs::write(folder.join("index.html"), "the page").unwrap();
        for (name, text) in files {
            fs::write(folder.join(name), text).unwrap();
        }
        let site = Site::load(&folder, "/").unwrap();
        fs::remove_dir_all(folder).unwrap();
        site
    }

    #[test]
    fn a_file_that_is_another_or_missing_is_named() {
        let here = page("here", &[("icons/a", "1"), ("b", "2"), ("c", "3")]);
        let there = page("there", &[("icons/a", "1"), ("b", "another"), ("d", "3")]);
        assert_eq!(differing(&here, &there), ["b", "c", "d"]);
        assert!(differing(&here, &here.clone()).is_empty());
        assert_ne!(checksum(&here), checksum(&there));
    }

    #[test]
    fn the_list_is_that_of_sha256sum() {
        let list = checksums(&page("list", &[("icons/a", "")]));
        let empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
        assert_eq!(list.lines().next(), Some(&*format!("{empty}  icons/a")));
        assert_eq!(list.lines().count(), 2);
    }
}
