//! TODO-skeleton
