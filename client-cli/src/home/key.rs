//! The device's signing key.

use whorl_contract::key::{Hash, SecretKey};
use zeroize::Zeroizing;

use super::{Home, read_secret, write_private};
use crate::failure::Failure;
use crate::world::Machine;

const FILE: &str = "device.key";

impl Home {
    /// The device's key; made at the first call and the same for ever after.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be read or made, or if others can read it.
    pub fn device_key(&self, machine: Machine<'_>) -> Result<SecretKey, Failure> {
        if let Some(key) = self.existing_key()? {
            return Ok(key);
        }
        let seed = Zeroizing::new(machine.bytes::<32>()?);
        // `Hash` is any 32 bytes with one spelling.
        let text = Zeroizing::new(Hash(*seed).to_string());
        write_private(&self.file(FILE), text.as_bytes())?;
        Ok(SecretKey::from_seed(&seed))
    }

    /// The device's key, if it has one.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be read, or if others can read it.
    pub fn existing_key(&self) -> Result<Option<SecretKey>, Failure> {
        let path = self.file(FILE);
        let Some(text) = read_secret(&path)?.map(Zeroizing::new) else {
            return Ok(None);
        };
        let seed: Hash = text.trim().parse().map_err(|_| {
            Failure::Device(format!(
                "{} is damaged; put it back from a copy, or move it away and join again as a new device",
                path.display()
            ))
        })?;
        Ok(Some(SecretKey::from_seed(&seed.0)))
    }
}
