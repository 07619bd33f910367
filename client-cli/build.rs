//! Rebuilds when a migration changes: they are embedded, and Cargo can't see that by itself.

fn main() {
    println!("cargo:rerun-if-changed=../migrations/client");
}
