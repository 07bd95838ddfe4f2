//! Kept artifacts under `.rowfall`, found by key; and the lock that keeps two runs apart.

use crate::finding::{Problem, ProblemKind};
use crate::land::store::Pack;
use std::fs::{File, TryLockError};
use std::io::{BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Space kept artifacts may take, bytes.
pub const DEFAULT_LIMIT_BYTES: u64 = 2_000_000_000;

fn trouble(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(ProblemKind::Write, "not_written", format!("`{}` could not be written: {error}", path.display()))
        .hint("check free space and permissions of the folder of the pipeline file")
}

/// Writes what `pack` packs behind its digest, which is known only at the end.
fn written(file: &mut File, pack: Pack<'_>) -> std::io::Result<()> {
    file.write_all(&[0; blake3::OUT_LEN])?;
    let mut buffer = BufWriter::with_capacity(1 << 18, Hashed { to: file, hasher: blake3::Hasher::new() });
    pack(&mut buffer)?;
    let Hashed { to: file, hasher } = buffer.into_inner()?;
    file.rewind()?;
    file.write_all(hasher.finalize().as_bytes())
}

/// Takes the digest of what goes through.
struct Hashed<W> {
    to: W,
    hasher: blake3::Hasher,
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let done = self.to.write(bytes)?;
        self.hasher.update(&bytes[..done]);
        Ok(done)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.to.flush()
    }
}

/// Artifacts on disk.
#[derive(Debug, Clone)]
pub struct Objects {
    folder: PathBuf,
    limit_bytes: u64,
}

impl Objects {
    /// Artifacts under a store folder, with a size limit.
    #[must_use]
    pub fn new(store: &Path, limit_bytes: u64) -> Self {
        Self { folder: store.join("objects"), limit_bytes }
    }
    /// Keys are hashed once more, so a key can hold any character and never names a path.
    fn path(&self, key: &str) -> PathBuf {
        let name = blake3::hash(key.as_bytes()).to_hex();
        self.folder.join(&name[..2]).join(&name[2..])
    }
    /// A kept artifact; damaged ones count as absent.
    #[must_use]
    pub fn fetch(&self, key: &str) -> Option<Vec<u8>> {
        let mut file = File::open(self.path(key)).ok()?;
        let mut stated = [0; blake3::OUT_LEN];
        file.read_exact(&mut stated).ok()?;
        let mut body = Vec::new();
        file.read_to_end(&mut body).ok()?;
        (blake3::hash(&body) == stated).then_some(body)
    }
    /// Keeps an artifact, then makes room.
    ///
    /// # Errors
    /// `not_written`.
    pub fn keep(&self, key: &str, pack: Pack<'_>) -> Result<(), Problem> {
        let path = self.path(key);
        let folder = path.parent().unwrap_or(&self.folder);
        std::fs::create_dir_all(folder).map_err(|e| trouble(folder, &e))?;
        let mut file = tempfile::NamedTempFile::new_in(folder).map_err(|e| trouble(folder, &e))?;
        written(file.as_file_mut(), pack).map_err(|e| trouble(&path, &e))?;
        file.persist(&path).map_err(|e| trouble(&path, &e.error))?;
        self.make_room(&path);
        Ok(())
    }
    /// Removes the oldest artifacts until the limit holds; the one just written stays.
    fn make_room(&self, newest: &Path) {
        let mut all: Vec<(SystemTime, PathBuf, u64)> = Vec::new();
        for folder in read_dir(&self.folder) {
            for path in read_dir(&folder) {
                if let Ok(meta) = std::fs::metadata(&path) {
                    all.push((meta.modified().unwrap_or(SystemTime::UNIX_EPOCH), path, meta.len()));
                }
            }
        }
        all.sort();
        let mut total: u64 = all.iter().map(|(_, _, size)| size).sum();
        for (_, path, size) in all {
            if total <= self.limit_bytes {
                break;
            }
            if path != newest && std::fs::remove_file(&path).is_ok() {
                total -= size;
            }
        }
    }
}

fn read_dir(folder: &Path) -> Vec<PathBuf> {
    std::fs::read_dir(folder).map(|d| d.filter_map(Result::ok).map(|e| e.path()).collect()).unwrap_or_default()
}

/// Held while a run works in a store folder; released when dropped or when the process ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of a store folder.
    ///
    /// # Errors
    /// `locked` naming the holder, `not_written` when the folder cannot be used.
    pub fn take(store: &Path) -> Result<Self, Problem> {
        std::fs::create_dir_all(store).map_err(|e| trouble(store, &e))?;
        let path = store.join("lock");
        let mut file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|e| trouble(&path, &e))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                let _unreadable = file.read_to_string(&mut holder);
                let holder = if holder.trim().is_empty() { "another process" } else { holder.trim() };
                return Err(Problem::new(
                    ProblemKind::Write,
                    "locked",
                    format!("another run is at work here: `{}` is held by {holder}", path.display()),
                )
                .hint("wait for it to finish; the lock is released when that process ends"));
            }
            Err(TryLockError::Error(error)) => return Err(trouble(&path, &error)),
        }
        let text = format!("process {}", std::process::id());
        file.set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| file.write_all(text.as_bytes()))
            .map_err(|e| trouble(&path, &e))?;
        Ok(Self { _file: file })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn artifacts_come_back_and_damage_counts_as_absent() {
        let place = tempfile::tempdir().unwrap();
        let objects = Objects::new(place.path(), DEFAULT_LIMIT_BYTES);
        assert_eq!(objects.fetch("a/../b"), None);
        objects.keep("a/../b", &|file| file.write_all(b"hello")).unwrap();
        assert_eq!(objects.fetch("a/../b").as_deref(), Some(&b"hello"[..]));
        let path = objects.path("a/../b");
        let mut bytes = std::fs::read(&path).unwrap();
        *bytes.last_mut().unwrap() ^= 1;
        std::fs::write(&path, bytes).unwrap();
        assert_eq!(objects.fetch("a/../b"), None);
        std::fs::write(&path, b"short").unwrap();
        assert_eq!(objects.fetch("a/../b"), None);
    }

    #[test]
    fn the_oldest_make_room() {
        let place = tempfile::tempdir().unwrap();
        let objects = Objects::new(place.path(), 3 * 132);
        for key in ["1", "2", "3", "4", "5"] {
            objects.keep(key, &|file| file.write_all(&[0; 100])).unwrap();
            std::thread::sleep(std::time::Duration::from_millis(15));
        }
        let kept: Vec<bool> = ["1", "2", "3", "4", "5"].iter().map(|k| objects.fetch(k).is_some()).collect();
        assert_eq!(kept, [false, false, true, true, true]);
    }

    #[test]
    fn one_run_at_a_time() {
        let place = tempfile::tempdir().unwrap();
        let held = Lock::take(place.path()).unwrap();
        let problem = Lock::take(place.path()).unwrap_err();
        assert_eq!((problem.kind, problem.code.as_str()), (ProblemKind::Write, "locked"));
        assert!(problem.message.contains(&format!("process {}", std::process::id())));
        drop(held);
        Lock::take(place.path()).unwrap();
    }
}
