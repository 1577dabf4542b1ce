//! Text from people, as it may stand in XML and HTML.

/// A text as it may stand in an element or in a quoted attribute. Control characters become
/// spaces, and so do marks that turn the direction of text: a name must not rearrange the page.
pub(crate) fn escaped(text: &str) -> String {
    let plain = |c: char| match c {
        c if c.is_control() => ' ',
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => ' ',
        c => c,
    };
    let plain: String = text.chars().map(plain).collect();
    // HTML before version 5 knows no `&apos;`.
    quick_xml::escape::escape(plain).replace("&apos;", "&#39;")
}
