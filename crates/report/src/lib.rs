//! Results as tables for a person and drawings for a page.
