//! What the page is allowed to do.

/// The Content-Security-Policy of every page of the app.
///
/// `dist` writes it into the page, so that a static host which can set no headers still enforces it, and
/// our own server sends it as a header as well.
/// Inline scripts and inline style attributes are refused; styles set through the DOM are not affected.
pub const CONTENT_SECURITY_POLICY: &str = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; \
     object-src 'none'; base-uri 'none'; form-action 'none'";
