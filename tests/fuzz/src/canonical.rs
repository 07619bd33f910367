//! JSON that is hashed and signed: strict reading and the canonical form.

use whorl_contract::canonical::{read, write};

/// The canonical form is one: written, read and written again, it is the same; and it can be read again at all.
pub(crate) fn run(bytes: &[u8]) {
    let Some(value) = std::str::from_utf8(bytes)
        .ok()
        .and_then(|text| read(text).ok())
    else {
        return;
    };
    let once = write(&value).expect("what was read strictly has a canonical form");
    let text = std::str::from_utf8(&once).expect("JSON is UTF-8");
    let again = read(text).expect("a canonical form is strict JSON");
    assert_eq!(write(&again).expect("a canonical form"), once, "{text}");
    assert!(!once.contains(&b'\n'), "white space in {text}");
}
