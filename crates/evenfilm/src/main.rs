//! The program `evenfilm`; all of it is in the library, so that tests can drive it.

fn main() -> std::process::ExitCode {
    evenfilm::run(std::env::args_os())
}
