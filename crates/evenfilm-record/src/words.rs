//! Words of the files that stand for a choice.

/// An enum whose variants are words of a file; the same shape as the choices of [`evenfilm_core::recipe`].
macro_rules! choices {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }
        impl $name {
            /// Every choice, in the order of the documentation.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// The word that files use.
            pub const fn word(self) -> &'static str { match self { $(Self::$variant => $text),+ } }
        }
        impl From<$name> for crate::toml_file::Entry {
            fn from(choice: $name) -> Self { Self::Text(choice.word().into()) }
        }
    };
}
pub(crate) use choices;
