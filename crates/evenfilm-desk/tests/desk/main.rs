//! The desk as a person uses it: found by accessible names, driven by clicks and keys, without a screen.

#![expect(clippy::unwrap_used, reason = "tests")]

mod bench;
mod choices;
mod journal;
mod keyboard;
mod lots;
mod numbers;
mod reason;
mod record;
mod sheet;
mod sign;
mod sizes;
mod trouble;
