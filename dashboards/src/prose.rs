//! Sentences upon a page: text, with what is to be typed (between backticks) as code.
use maud::Render;

/// Begins and ends what is to be typed, in sentences.
const TYPED: char = '`';

/// A sentence as markup. All of it is escaped; a backtick without its partner stays what it is.
pub(crate) struct Prose<'a>(pub(crate) &'a str);

impl Render for Prose<'_> {
    fn render_to(&self, out: &mut String) {
        let mut rest = self.0;
        while let Some((before, typed, after)) = split(rest) {
            before.render_to(out);
            out.push_str("<code>");
            typed.render_to(out);
            out.push_str("</code>");
            rest = after;
        }
        rest.render_to(out);
    }
}

/// What stands before the first pair of backticks, between them and after them.
fn split(text: &str) -> Option<(&str, &str, &str)> {
    let (before, rest) = text.split_once(TYPED)?;
    let (typed, after) = rest.split_once(TYPED)?;
    (!typed.is_empty()).then_some((before, typed, after))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(text: &str) -> String {
        Prose(text).render().0
    }

    #[test]
    fn what_is_to_be_typed_is_code_and_the_rest_is_text() {
        assert_eq!(
            made("(`warmend fit --nest oak` says what), or `warmend check`."),
            "(<code>warmend fit --nest oak</code> says what), or <code>warmend check</code>."
        );
        for plain in ["no command", "", "a ` alone", "`` empty", "`"] {
            assert_eq!(made(plain), plain);
        }
    }

    #[test]
    fn nothing_breaks_out_wherever_the_backticks_stand() {
        let hostile = "<b>\"&'</b>";
        let safe =
            |text: &str| text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
        for at in 0..=hostile.len() {
            let (a, b) = hostile.split_at(at);
            assert_eq!(
                made(&format!("{a}`{b}`{a}")),
                match b {
                    "" => safe(&format!("{a}``{a}")),
                    _ => format!("{}<code>{}</code>{}", safe(a), safe(b), safe(a)),
                }
            );
        }
    }
}
