//! Timers on the screen: the button that starts one, and the bar of those that run.

use crate::state::{Open, Shared};
use crate::view::View;
use calc::quantity::Duration;

/// The button that starts a timer of this name and length. While one of this name runs, it shows that one's
/// countdown instead, and leads to it.
pub fn offer(_open: Open, _name: String, _lasts: Duration) -> View {
    View::Nothing
}

/// All timers of the open batch, and the form for an own one.
pub fn bar(_shared: Shared, _open: Open) -> View {
    View::Nothing
}
