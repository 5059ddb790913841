//! What a run of the program said.

use std::process::Output;

/// Exit code and output; making one asserts that nothing panicked.
pub struct Ran {
    pub code: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Ran {
    pub fn of(output: Output) -> Self {
        let ran = Self {
            code: output.status.code().expect("ended by itself"),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        };
        for text in [&ran.stdout, &ran.stderr] {
            assert!(!text.contains("panicked") && !text.contains("RUST_BACKTRACE"), "{text}");
        }
        ran
    }

    fn everything(&self) -> String {
        format!("exit code {}\n{}\n{}", self.code, self.stdout, self.stderr)
    }

    /// A finding of `check`, which ended with 1.
    pub fn finds(&self, place: &str, code: &str) -> &Self {
        assert_eq!((self.code, self.stderr.as_str()), (1, ""), "{}", self.everything());
        self.says(&self.stdout, place, code);
        self
    }

    /// A reason why a command failed, with 2 and nothing on standard output.
    pub fn fails(&self, place: &str, code: &str) -> &Self {
        assert_eq!((self.code, self.stdout.as_str()), (2, ""), "{}", self.everything());
        assert!(self.stderr.starts_with("error: "), "{}", self.stderr);
        self.says(&self.stderr, place, code);
        self
    }

    /// Some other failure: what happened, a blank line, and a hint.
    pub fn fails_saying(&self, words: &[&str]) {
        assert_eq!((self.code, self.stdout.as_str()), (2, ""), "{}", self.everything());
        let (what, hint) = self.stderr.split_once("\n\nhint: ").expect("a hint");
        assert!(what.starts_with("error: ") && hint.trim().len() > 10, "{}", self.stderr);
        for word in words {
            assert!(self.stderr.contains(word), "no '{word}' in {}", self.stderr);
        }
    }

    /// `place: what [code]`, then a line with a hint.
    fn says(&self, text: &str, place: &str, code: &str) {
        let lines: Vec<&str> = text.lines().collect();
        let found = lines.windows(2).any(|pair| {
            let what = pair[0].strip_prefix(place).and_then(|rest| rest.strip_prefix(": "));
            let what = what.and_then(|rest| rest.strip_suffix(&format!(" [{code}]")));
            let hint = pair[1].strip_prefix("  hint: ");
            what.is_some_and(|what| what.len() > 10) && hint.is_some_and(|hint| hint.len() > 10)
        });
        assert!(found, "no '{place}: ... [{code}]' with a hint in {}", self.everything());
    }
}
