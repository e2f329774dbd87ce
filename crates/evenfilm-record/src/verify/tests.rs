//! Records made whole, and then not.
