//! Numbers and files: pictures in; sheets, tables, archive out; [`lot`], the one workflow that command line and desk share.

pub mod fault;
pub mod folder;
pub mod limits_file;
pub mod phantom_files;
pub mod pictures;
pub mod recipe_file;
pub mod sheet;
mod toml_file;
mod words;
