//! Numbers and files: pictures in; sheets, tables, archive out; [`lot`], the one workflow that command line and desk share.

pub mod archive;
pub mod bag;
pub mod corrections;
pub mod csvw;
mod digest;
mod disk;
pub mod fault;
pub mod folder;
pub mod keep;
pub mod limits_file;
pub mod lot;
pub mod names;
pub mod numbers;
pub mod overlay;
pub mod phantom_files;
pub mod pictures;
pub mod prove;
pub mod recipe_file;
pub mod round;
pub mod ruling;
pub mod sheet;
pub mod summary;
pub mod tables;
pub mod time;
mod toml_file;
mod typed;
mod words;
