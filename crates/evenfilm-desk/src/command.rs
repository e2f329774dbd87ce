//! What a person may ask for: a name, a reason to use it, a key. Buttons, keys and the search for commands all read this table.

use egui::{Key, KeyboardShortcut, Modifiers};

/// What is shown of a lot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Face {
    /// A field and what was found in it.
    #[default]
    Picture,
    /// Charts and every value.
    Numbers,
    /// What the technician knows of the lot.
    Sheet,
}

macro_rules! commands {
    ($($name:ident, $label:literal, $why:literal, $words:literal, $key:expr;)+) => {
        /// What a person may ask for, whatever way.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Command { $(#[doc = $why] $name),+ }
        impl Command {
            /// All of them, in the order in which they are listed.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];
            /// Its name on buttons and in lists.
            pub const fn label(self) -> &'static str { match self { $(Self::$name => $label),+ } }
            /// What it is for.
            pub const fn why(self) -> &'static str { match self { $(Self::$name => $why),+ } }
            /// Further words that it is looked for by.
            pub(crate) const fn words(self) -> &'static str { match self { $(Self::$name => $words),+ } }
            /// The key that asks for it.
            pub fn key(self) -> Option<KeyboardShortcut> { match self { $(Self::$name => $key),+ } }
        }
    };
}

#[expect(clippy::unnecessary_wraps, reason = "it stands in a column with None")]
const fn ctrl(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::COMMAND, key))
}

#[expect(clippy::unnecessary_wraps, reason = "it stands in a column with None")]
const fn ctrl_shift(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::COMMAND.plus(Modifiers::SHIFT), key))
}

#[expect(clippy::unnecessary_wraps, reason = "it stands in a column with None")]
const fn alone(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::NONE, key))
}

commands! {
    OpenFolder, "Open a folder…", "Choose the folder of a lot, or of several", "load file lot browse import", ctrl(Key::O);
    OpenSample, "Open the sample lot", "Render a film of known truth and measure it, to learn how the desk works", "example demo try learn phantom", None;
    CloseLot, "Back to the start", "Close the lot and choose another", "home exit leave slides", ctrl(Key::W);
    NextLot, "Next lot of the folder", "Show the lot that comes after this one", "forward sample", ctrl(Key::PageDown);
    PreviousLot, "Previous lot of the folder", "Show the lot that comes before this one", "back sample", ctrl(Key::PageUp);
    NextField, "Next field", "Show the picture that comes after this one", "forward image", alone(Key::PageDown);
    PreviousField, "Previous field", "Show the picture that comes before this one", "back image", alone(Key::PageUp);
    LeaveOut, "Leave this field out, or take it back", "A field that shows the same place again leaves the numbers; any other reason is kept and flagged", "exclude remove delete reject skip ignore restore", alone(Key::Delete);
    Picture, "Show the picture", "A field and what was found in it", "image view", alone(Key::F2);
    Numbers, "Show the numbers", "Charts and every value with its definition", "values results charts table statistics histogram sizes", alone(Key::F3);
    Sheet, "Show the sheet", "What is known of the lot: slides, microscope, mixing", "form metadata details batch", alone(Key::F4);
    Why, "Why this verdict?", "Every limit, what came of it, and what would settle it", "reason limits pass fail explain", alone(Key::F7);
    Choices, "Show or hide the choices", "The questions that decide what is measured", "settings options parameters recipe threshold panel", alone(Key::F6);
    Larger, "Look closer", "Enlarge the picture", "zoom in magnify enlarge", alone(Key::Plus);
    Smaller, "Step back", "Show more of the picture", "zoom out reduce", alone(Key::Minus);
    Whole, "Whole field", "Show all of the picture", "zoom fit all reset", alone(Key::Num0);
    TrueSize, "Pixel for pixel", "One pixel of the camera is one of the screen", "zoom actual 100 % 1:1", alone(Key::Num1);
    LargestObject, "Look at the largest object", "Brings it into the middle of the picture", "biggest clump agglomerate particle", alone(Key::O);
    LargestGap, "Look at the largest gap", "Brings it into the middle of the picture", "biggest hole bare uncovered", alone(Key::G);
    Original, "Bare the original, or cover it", "Pull the marks off the whole picture", "raw compare before after hide overlay marks", alone(Key::B);
    Kind, "Give this another kind…", "The object or gap under the pointer, or in the middle of the picture, is something else", "class type correct relabel dust fibre bubble", alone(Key::K);
    Undo, "Undo", "Take the last change of a choice back", "back revert", ctrl(Key::Z);
    Redo, "Redo", "Make the change again", "repeat again", ctrl_shift(Key::Z);
    SaveChoices, "Save the choices", "Write them to the recipe file beside the lot", "store keep recipe settings", ctrl(Key::S);
    Lock, "Lock or unlock the choices", "A verdict rests on locked choices only", "freeze fix verdict protect", ctrl(Key::L);
    WriteRecord, "Write the record", "Measure once more and seal pictures, numbers and choices in a record", "save export report finish archive", ctrl(Key::Enter);
    WriteAll, "Write the records of all lots here", "One after another, as the lots of the folder stand", "save export batch everything", ctrl_shift(Key::Enter);
    SignRecord, "Sign the latest record…", "Say that you measured, reviewed or approved it", "sign-off signature approve review key", ctrl_shift(Key::S);
    Queue, "Show what is being written", "Progress, summaries and records of this session", "progress jobs records", alone(Key::F8);
    Stop, "Stop measuring", "The numbers stay those of earlier choices", "cancel abort pause", ctrl(Key::Period);
    StopRecords, "Stop all records", "Nothing is left behind of those that are not written; the others stay", "cancel abort writing", ctrl_shift(Key::Period);
    CopySummary, "Copy the summary", "The text that the command line prints", "clipboard export text", ctrl_shift(Key::C);
    CopyValues, "Copy every value", "A table with units, for a spreadsheet", "clipboard export csv table spreadsheet", None;
    SaveCharts, "Save the charts…", "As SVG and PNG beside the lot", "export plot graph figure svg png image", None;
    OpenRecords, "Open the folder of records", "In the system's own file window", "explorer finder output results", None;
    Setup, "Set up the desk", "Appearance, size of text, folder of records, your code", "settings preferences options configure dark light theme language operator font", ctrl(Key::Comma);
    Bigger, "Everything larger", "Scale text and buttons up, to 200 %", "zoom scale text font accessibility increase", ctrl(Key::Plus);
    LessBig, "Everything smaller", "Scale text and buttons down, to 75 %", "zoom scale text font decrease", ctrl(Key::Minus);
    Light, "Light, dark, or as the system", "Go to the next appearance", "dark theme contrast appearance night colour color mode", None;
    Find, "Find a command", "Type what you want to do", "search palette menu help", ctrl(Key::K);
    Quit, "Close the desk", "Asks first where something is not saved", "quit exit leave end program", ctrl(Key::Q);
    Keys, "List of keys", "Everything that the keyboard does", "help shortcuts keyboard manual", alone(Key::F1);
}

impl Command {
    /// The key in words, as in "Ctrl+O"; empty where there is none.
    pub fn key_words(self, ctx: &egui::Context) -> String {
        self.key().map(|key| ctx.format_shortcut(&key)).unwrap_or_default()
    }

    /// Whether its key is one that is also typed into texts.
    pub(crate) fn is_typed(self) -> bool {
        // Taking back what was typed is the box's own, and nobody leaves a lot by a slip while typing.
        if matches!(self, Self::Undo | Self::Redo | Self::CloseLot) {
            return true;
        }
        self.key().is_some_and(|key| key.modifiers.is_none() && !is_function(key.logical_key))
    }
}

const fn is_function(key: Key) -> bool {
    matches!(key, Key::F1 | Key::F2 | Key::F3 | Key::F4 | Key::F6 | Key::F7 | Key::F8)
}

/// The commands that answer to some words, best first.
pub(crate) fn find(words: &str) -> Vec<Command> {
    let words: Vec<String> = words.split_whitespace().map(str::to_lowercase).collect();
    // A word of the label tells most, then one of the further words, then one of the reason.
    let rank = |command: &Command| {
        let texts = [command.label(), command.words(), command.why()].map(str::to_lowercase);
        let worth = |word: &String| texts.iter().zip([4, 2, 1]).find(|(text, _)| text.contains(word.as_str())).map(|(_, worth)| worth);
        words.iter().map(worth).sum::<Option<usize>>()
    };
    let mut found: Vec<(usize, Command)> = Command::ALL.iter().filter_map(|command| Some((rank(command)?, *command))).collect();
    found.sort_by_key(|(hits, _)| std::cmp::Reverse(*hits));
    found.into_iter().map(|(_, command)| command).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_asks_for_two_things() {
        let keys: Vec<_> = Command::ALL.iter().filter_map(|command| Some((command.key()?, command))).collect();
        for (i, (key, command)) in keys.iter().enumerate() {
            for (other, twin) in &keys[..i] {
                assert!(key != other, "{command:?} and {twin:?}");
            }
        }
    }

    #[test]
    fn labels_are_short_and_sentence_case() {
        for command in Command::ALL {
            let label = command.label();
            assert!(label.len() <= 40 && !label.ends_with('.') && label.starts_with(char::is_uppercase), "{label}");
            assert!(!command.why().ends_with('.') && !command.why().is_empty(), "{label}");
        }
    }

    #[test]
    fn commands_are_found_by_words() {
        assert_eq!(find("undo").first(), Some(&Command::Undo));
        assert_eq!(find("leave FIELD").first(), Some(&Command::LeaveOut));
        for (words, command) in [
            ("zoom", Command::Larger),
            ("magnify", Command::Larger),
            ("export", Command::WriteRecord),
            ("preferences", Command::Setup),
            ("settings", Command::Setup),
            ("help", Command::Keys),
            ("dark", Command::Light),
            ("contrast", Command::Light),
            ("verdict", Command::Why),
            ("save", Command::SaveChoices),
            ("quit", Command::Quit),
            ("exit", Command::Quit),
        ] {
            assert!(find(words).contains(&command), "{words}");
        }
        assert_eq!(find("verdict").first(), Some(&Command::Why));
        assert_eq!(find("save").first(), Some(&Command::SaveChoices));
        assert!(find("no such thing").is_empty());
        assert_eq!(find("").len(), Command::ALL.len());
    }
}
