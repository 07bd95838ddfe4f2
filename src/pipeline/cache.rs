//! Skips work that is unchanged: products are kept under a key made of everything they depend on.

use crate::finding::Problem;
use crate::land::store::Store;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Kept products behind a store.
pub struct Cache<'s> {
    /// Where they lie.
    pub store: &'s (dyn Store + Sync),
    /// Versions of this program and the libraries behind the formats; part of every key.
    pub versions: String,
}

impl<'s> Cache<'s> {
    /// A cache over a store.
    #[must_use]
    pub fn new(store: &'s (dyn Store + Sync)) -> Self {
        let mut versions = format!("rowfall {}", env!("CARGO_PKG_VERSION"));
        for (library, version) in store.versions() {
            versions.push_str(&format!("; {library} {version}"));
        }
        Self { store, versions }
    }

    /// Key of a product: its kind, then every part it depends on, each with its length so that no two lists of
    /// parts run together to the same bytes.
    #[must_use]
    pub fn key(&self, kind: &str, parts: &[&[u8]]) -> String {
        let mut hasher = blake3::Hasher::new();
        for part in [kind.as_bytes(), self.versions.as_bytes()].iter().chain(parts) {
            hasher.update(&(part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        format!("{kind}-{}", hasher.finalize().to_hex())
    }

    /// A kept product; one that is not understood counts as not kept.
    #[must_use]
    pub fn fetch<T: DeserializeOwned>(&self, key: &str) -> Option<T> {
        let bytes = self.store.fetch(key)?;
        postcard::from_bytes(&bytes).ok()
    }

    /// Keeps a product.
    ///
    /// # Errors
    /// When the store cannot write.
    pub fn keep<T: Serialize>(&self, key: &str, value: &T) -> Result<(), Problem> {
        self.store.keep(key, &|file| postcard::to_io(value, file).map(|_| ()).map_err(std::io::Error::other))
    }
}
