//! Numbers and files: pictures in; sheets, tables, archive out; [`lot`], the one workflow that command line and desk share.

pub mod fault;
pub mod phantom_files;
