//! Opens the desk with a folder: `cargo run --release -p evenfilm-desk --example desk sample-images/TS-0402`.

fn main() -> Result<(), evenfilm_desk::WindowFault> {
    evenfilm_desk::run(std::env::args_os().nth(1).map(Into::into))
}
