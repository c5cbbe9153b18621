//! Where each value of a JSON text stands, so that an error can name its line.

/// One value of the text: its dotted path (`bands[1].ticks[3][0]`) and its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Span {
    pub path: String,
    pub start: usize,
    pub end: usize,
}

/// All values of a JSON text in order, outer before inner.
///
/// The text must have been parsed before: what isn't JSON ends the list early.
pub(super) fn spans(text: &str) -> Vec<Span> {
    let mut scanner = Scanner {
        bytes: text.as_bytes(),
        at: 0,
        spans: Vec::new(),
    };
    scanner.value(String::new());
    scanner.spans
}

/// The value at `path`, or the nearest one around it where that is missing.
pub(super) fn nearest<'a>(spans: &'a [Span], path: &str) -> Option<&'a Span> {
    let mut path = path;
    loop {
        if let Some(span) = spans.iter().find(|s| s.path == path) {
            return Some(span);
        }
        if path.is_empty() {
            return None;
        }
        path = path.rfind(['.', '[']).map_or("", |cut| &path[..cut]);
    }
}

/// The innermost value that holds the byte `at`.
pub(super) fn innermost(spans: &[Span], at: usize) -> Option<&Span> {
    spans.iter().rev().find(|s| (s.start..s.end).contains(&at))
}

/// Line of the byte `at`, counted from 1.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    let before = &text.as_bytes()[..at.min(text.len())];
    1 + before.iter().filter(|b| **b == b'\n').count()
}

/// `path` with a key of that object added.
pub(super) fn join(path: &str, key: &str) -> String {
    if path.is_empty() {
        key.to_owned()
    } else {
        format!("{path}.{key}")
    }
}

struct Scanner<'a> {
    bytes: &'a [u8],
    at: usize,
    spans: Vec<Span>,
}

impl Scanner<'_> {
    fn peek(&mut self) -> Option<u8> {
        while self.bytes.get(self.at).is_some_and(u8::is_ascii_whitespace) {
            self.at += 1;
        }
        self.bytes.get(self.at).copied()
    }

    /// Steps over `byte` if it comes next.
    fn eat(&mut self, byte: u8) -> bool {
        let found = self.peek() == Some(byte);
        self.at += usize::from(found);
        found
    }

    fn value(&mut self, path: String) {
        let first = self.peek();
        let slot = self.spans.len();
        let start = self.at;
        self.spans.push(Span {
            path: path.clone(),
            start,
            end: start,
        });
        match first {
            Some(b'{') => self.object(&path),
            Some(b'[') => self.array(&path),
            Some(b'"') => {
                self.string();
            }
            _ => self.scalar(),
        }
        self.spans[slot].end = self.at;
    }

    fn object(&mut self, path: &str) {
        self.at += 1;
        while self.peek() == Some(b'"') {
            let key = self.string();
            if !self.eat(b':') {
                return;
            }
            self.value(join(path, &key));
            if !self.eat(b',') {
                break;
            }
        }
        self.eat(b'}');
    }

    fn array(&mut self, path: &str) {
        self.at += 1;
        let mut index = 0;
        while self.peek().is_some_and(|b| b != b']') {
            self.value(format!("{path}[{index}]"));
            index += 1;
            if !self.eat(b',') {
                break;
            }
        }
        self.eat(b']');
    }

    /// Steps over a string and gives what stands between its quotes, escapes left as they are.
    fn string(&mut self) -> String {
        let start = self.at + 1;
        self.at = start;
        while let Some(&byte) = self.bytes.get(self.at) {
            match byte {
                b'"' => break,
                b'\\' => self.at += 2,
                _ => self.at += 1,
            }
        }
        let end = self.at.min(self.bytes.len());
        self.at = (end + 1).min(self.bytes.len());
        String::from_utf8_lossy(&self.bytes[start.min(end)..end]).into_owned()
    }

    fn scalar(&mut self) {
        let ends = |b: &u8| b.is_ascii_whitespace() || b",]}".contains(b);
        while self.bytes.get(self.at).is_some_and(|b| !ends(b)) {
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "{\n \"a\": [1, [2,\n 3]],\n \"b\\\"]\": {\"c\": \"x]\"}}";

    #[test]
    fn paths_and_lines_of_nested_values() {
        let spans = spans(TEXT);
        let at = |path: &str| {
            let span = spans.iter().find(|s| s.path == path).expect(path);
            (&TEXT[span.start..span.end], line_of(TEXT, span.start))
        };
        assert_eq!(at("a[0]"), ("1", 2));
        assert_eq!(at("a[1][1]"), ("3", 3));
        assert_eq!(at("a[1]"), ("[2,\n 3]", 2));
        assert_eq!(at("b\\\"].c"), ("\"x]\"", 4));
        assert_eq!(spans.len(), 8);
    }

    #[test]
    fn a_missing_path_falls_back_on_what_holds_it() {
        let spans = spans(TEXT);
        let found = |path| nearest(&spans, path).map(|s| s.path.as_str());
        assert_eq!(found("a[1][7]"), Some("a[1]"));
        assert_eq!(found("z.y"), Some(""));
    }

    #[test]
    fn text_that_is_not_json_ends_the_scan() {
        for broken in ["", "{", "[1,", "{\"a\"", "\"\\", "[,,]", "{\"a\":}"] {
            assert!(spans(broken).len() < 5, "{broken}");
        }
    }
}
