//! The README's pictures. Taken by `cargo xtask screenshots`.

use std::env;
use std::path::PathBuf;

use crate::harness::{Visitor, host};

#[tokio::test]
#[ignore = "takes the README's pictures; run by cargo xtask screenshots"]
async fn readme() {
    let folder = env::var_os("TARTWRIGHT_PICTURES").map_or_else(env::temp_dir, PathBuf::from);
    let host = host("/");
    for (name, visitor) in [("phone", Visitor::phone().await), ("desktop", Visitor::desktop().await)] {
        visitor.open(&host.url()).await;
        visitor.picture(&folder.join(format!("{name}.png"))).await;
    }
}
