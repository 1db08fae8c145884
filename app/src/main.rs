//! Entry point of the page.
fn main() {
    app::start();
}
