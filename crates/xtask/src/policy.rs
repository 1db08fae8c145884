//! What the page is allowed to do.

/// The Content-Security-Policy of every page of the app.
///
/// `dist` writes it into the page, so that a static host which can set no headers still enforces it, and
/// our own server sends it as a header as well.
/// Nothing is allowed but what is named, and all that is named comes from the page's own origin. Inline scripts and
/// inline style attributes are refused; styles set through the DOM are not affected. Where the browser knows trusted
/// types, a text becomes markup or a worker only by the one policy in `app/boot.js`, which lets drawings pass and our
/// own worker.
pub const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; \
     style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; \
     base-uri 'none'; form-action 'none'; require-trusted-types-for 'script'; trusted-types default";

#[cfg(test)]
mod tests {
    use super::CONTENT_SECURITY_POLICY;

    #[test]
    fn nothing_is_allowed_but_what_is_our_own() {
        for directive in CONTENT_SECURITY_POLICY.split("; ") {
            let (name, sources) = directive.split_once(' ').expect("a name and what it allows");
            for source in sources.split_whitespace() {
                let own = matches!(source, "'none'" | "'self'");
                let module = name == "script-src" && source == "'wasm-unsafe-eval'";
                let text = matches!(
                    (name, source),
                    ("require-trusted-types-for", "'script'") | ("trusted-types", "default")
                );
                assert!(own || module || text, "{directive}");
            }
        }
        assert!(CONTENT_SECURITY_POLICY.starts_with("default-src 'none'; "));
    }
}
