//! Words of the files that stand for a choice.

/// Choices as in [`evenfilm_core::choices`] that can also be written into a sheet.
macro_rules! choices {
    ($(#[$doc:meta])* $name:ident { $($rest:tt)+ }) => {
        evenfilm_core::choices! { $(#[$doc])* $name { $($rest)+ } }
        impl From<$name> for crate::toml_file::Entry {
            fn from(choice: $name) -> Self { Self::Text(choice.word().into()) }
        }
    };
}
pub(crate) use choices;
