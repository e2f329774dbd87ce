//! The reader of recipes: what it takes, it writes out and reads again.
#![no_main]

use std::path::Path;

use evenfilm_record::recipe_file;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(recipe) = recipe_file::parse(text, Path::new("recipe.toml")) {
        let again =
            recipe_file::parse(&recipe_file::canonical(&recipe), Path::new("recipe.toml")).expect("what was written out can be read");
        assert_eq!(again, recipe);
    }
});
