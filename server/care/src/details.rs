//! The typed details of every kind of event.
