//! Numbers and files: pictures in; sheets, tables, archive out; [`lot`], the one workflow that command line and desk share.

pub mod archive;
pub mod bag;
pub mod csvw;
mod digest;
mod disk;
pub mod fault;
pub mod names;
pub mod numbers;
pub mod overlay;
pub mod tables;
pub mod time;
