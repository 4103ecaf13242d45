//! Text from cases and results made harmless in markup and scripts.

pub use crate::record::markup;

/// JSON for a `<script>` element: nothing in it can end the element or the line.
pub fn script(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '<' => out.push_str("\\u003c"),
            '>' => out.push_str("\\u003e"),
            '&' => out.push_str("\\u0026"),
            '\u{2028}' => out.push_str("\\u2028"),
            '\u{2029}' => out.push_str("\\u2029"),
            '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => {
                out.push_str(&format!("\\u{:04x}", u32::from(c)));
            }
            c => out.push(c),
        }
    }
    out
}

/// RFC 4648, with padding.
pub fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |k: usize| u32::from(three.get(k).copied().unwrap_or(0));
        let word = at(0) << 16 | at(1) << 8 | at(2);
        for k in 0..4 {
            let sign = SIGNS[(word >> (18 - 6 * k) & 63) as usize];
            out.push(if k <= three.len() { char::from(sign) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_of_the_standard() {
        // RFC 4648, section 10.
        let pairs =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn nothing_gets_out() {
        assert_eq!(markup("a<b>&\"'\u{7}"), "a&lt;b&gt;&amp;&quot;&#39; ");
        assert_eq!(script("\"</script><!--\""), "\"\\u003c/script\\u003e\\u003c!--\"");
    }
}
