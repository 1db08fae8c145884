//! What the app weighs on its way to a phone.

use std::fmt;
use std::iter::Sum;

use xtask::site::{Asset, Site};

/// Everything the app needs offline may weigh this many bytes under brotli.
pub const BUDGET: usize = 300_000;

/// The weight of a file or of a whole site, in bytes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Weight {
    /// As stored.
    pub raw: usize,
    /// As sent, compressed.
    pub brotli: usize,
}

/// The app has become too heavy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OverBudget(Weight);

impl fmt::Display for OverBudget {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let over = self.0.brotli.saturating_sub(BUDGET);
        write!(f, "the app weighs {} bytes under brotli, {over} over its budget of {BUDGET}", self.0.brotli)
    }
}

impl fmt::Display for Weight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:>9} {:>9}", self.raw, self.brotli)
    }
}

impl Weight {
    /// The weight of one file; what does not compress is sent as it is.
    pub fn of(asset: &Asset) -> Self {
        Self { raw: asset.raw.len(), brotli: asset.brotli.len().min(asset.raw.len()) }
    }
}

impl Sum for Weight {
    fn sum<I: Iterator<Item = Self>>(weights: I) -> Self {
        weights.fold(Self::default(), |a, b| Self { raw: a.raw + b.raw, brotli: a.brotli + b.brotli })
    }
}

/// The weight of all files together.
pub fn total(site: &Site) -> Weight {
    site.assets().map(|(_, asset)| Weight::of(asset)).sum()
}

/// Prints each file's weight and the sum.
pub fn print(site: &Site) {
    println!("{:<36} {:>9} {:>9}", "file (bytes)", "raw", "brotli");
    for (name, asset) in site.assets() {
        println!("{name:<36} {}", Weight::of(asset));
    }
    println!("{:<36} {}", "all that is needed offline", total(site));
}

/// Refuses an app over its budget.
///
/// # Errors
/// When all files together weigh more than [`BUDGET`] under brotli.
pub fn check(site: &Site) -> Result<(), OverBudget> {
    let weight = total(site);
    if weight.brotli > BUDGET { Err(OverBudget(weight)) } else { Ok(()) }
}
