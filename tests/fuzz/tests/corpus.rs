//! The kept corpus, run as it stands: the project's own examples, and every input that once found a fault.

use std::fs;
use std::path::{Path, PathBuf};

use whorl_fuzz::{TARGETS, examples};

fn folder(target: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("corpus")
        .join(target)
}

#[test]
fn nothing_kept_breaks_a_property() {
    for target in TARGETS {
        let kept = fs::read_dir(folder(target.name)).expect("a folder for each target");
        let mut tried = 0;
        for file in kept {
            let path = file.expect("a file").path();
            // Shown only if it fails, and then it is the last one.
            println!("{}", path.display());
            (target.run)(&fs::read(&path).expect("a file"));
            tried += 1;
        }
        assert!(tried >= 3, "{tried} inputs for {}", target.name);
    }
}

/// `WHORL_WRITE_CORPUS=1` writes what is missing.
#[test]
fn every_example_is_kept() {
    for target in TARGETS {
        for (name, bytes) in examples::of(target.name) {
            let path = folder(target.name).join(&name);
            if std::env::var_os("WHORL_WRITE_CORPUS").is_some() {
                fs::create_dir_all(folder(target.name)).expect("a folder");
                fs::write(&path, &bytes).expect("written");
            }
            assert_eq!(
                fs::read(&path).ok().as_ref(),
                Some(&bytes),
                "{}",
                path.display()
            );
        }
    }
}
