use super::*;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn file(folder: &Path) -> PathBuf {
    let mut all: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).collect();
    all.retain(|path| path.extension().is_some_and(|e| e == "kept"));
    assert_eq!(all.len(), 1);
    all.remove(0)
}

fn made<T: Packed>(store: &Store, content: &str, value: T) -> (T, bool) {
    let fresh = std::cell::Cell::new(false);
    let make = || {
        fresh.set(true);
        Ok::<T, ()>(value)
    };
    (store.kept("a thing", content, make).unwrap(), fresh.get())
}

#[test]
fn a_result_is_made_once_for_each_content() {
    let folder = folder();
    let store = Store::new(folder.path().join("made"), LIMIT);
    assert_eq!(made(&store, "a", vec![0.1, f64::INFINITY]), (vec![0.1, f64::INFINITY], true));
    // Another process has another store.
    let store = Store::new(folder.path().join("made"), LIMIT);
    assert_eq!(made(&store, "a", vec![]), (vec![0.1, f64::INFINITY], false));
    assert_eq!(made(&store, "b", vec![2.0]), (vec![2.0], true));
    let words: Vec<String> = store.entries().into_iter().map(|e| e.what).collect();
    assert_eq!(words, ["a thing", "a thing"]);
    let failed: Result<f64, &str> = store.kept("a thing", "c", || Err("no"));
    assert_eq!(failed, Err("no"));
    assert_eq!(store.entries().len(), 2);
}

#[test]
fn what_is_damaged_or_foreign_is_made_anew() {
    let folder = folder();
    let store = Store::new(folder.path().into(), LIMIT);
    assert_eq!(made(&store, "a", vec![1.0, 2.0]).0, [1.0, 2.0]);
    let path = file(folder.path());
    let good = fs::read(&path).unwrap();
    let mut damages: Vec<Vec<u8>> = [0, 1, 16, 17, 40, good.len() - 1].map(|n| good[..n].to_vec()).into();
    damages.extend((0..good.len()).map(|k| {
        let mut one = good.clone();
        one[k] ^= 0x10;
        one
    }));
    damages.push([good.clone(), vec![0]].concat());
    for damaged in damages {
        fs::write(&path, damaged).unwrap();
        assert_eq!(made(&store, "a", vec![3.0]), (vec![3.0], true));
        assert_eq!(made(&store, "a", vec![4.0]), (vec![3.0], false), "written anew");
    }
    // The entry of another content under this one's name, whole as it is.
    fs::remove_file(&path).unwrap();
    made(&store, "b", vec![5.0]);
    fs::rename(file(folder.path()), &path).unwrap();
    assert_eq!(made(&store, "a", vec![6.0]), (vec![6.0], true));
    // Of another type.
    fs::remove_file(&path).unwrap();
    made(&store, "a", vec!["text".to_string()]);
    assert_eq!(made(&store, "a", vec![7.0]), (vec![7.0], true));
    // A folder under its name: it is not kept, and nothing else happens.
    fs::remove_file(&path).unwrap();
    fs::create_dir(&path).unwrap();
    assert_eq!(made(&store, "a", vec![8.0]), (vec![8.0], true));
    // Nor where the folder itself cannot be.
    let store = Store::new(folder.path().join("file").join("deeper"), LIMIT);
    fs::write(folder.path().join("file"), "").unwrap();
    assert_eq!(made(&store, "a", vec![9.0]), (vec![9.0], true));
}

#[test]
fn the_longest_unused_go_first_and_others_files_stay() {
    let folder = folder();
    let (one, many) = (vec![0.0; 100], 1000);
    let store = Store::new(folder.path().into(), 5 * many);
    let mine = folder.path().join("mine.txt");
    fs::write(&mine, vec![0; 10_000]).unwrap();
    let size = || store.entries().iter().map(|e| e.size).sum::<u64>();
    let at = |content: &str| folder.path().join(format!("{}.kept", hexadecimal(&key(content))));
    for (age, content) in [(50, "a"), (40, "b"), (30, "c"), (20, "d")] {
        made(&store, content, one.clone());
        let when = SystemTime::now() - Duration::from_secs(age);
        File::options().append(true).open(at(content)).unwrap().set_modified(when).unwrap();
        assert!(size() <= store.limit());
    }
    // Used again: the youngest.
    assert!(!made(&store, "a", one.clone()).1);
    made(&store, "e", one.clone());
    made(&store, "f", one.clone());
    assert!(size() <= store.limit(), "{}", size());
    assert!(at("a").exists() && at("f").exists() && !at("b").exists() && at("c").exists());
    // Too large for all.
    made(&store, "g", vec![0.0; 1000]);
    assert!(!at("g").exists() && at("f").exists());
    // One that was begun long ago, and one that somebody is at.
    let [old, new] = [1, 2].map(|k| at("h").with_extension(format!("{k}-0.part")));
    for path in [&old, &new] {
        fs::write(path, "begun").unwrap();
    }
    let when = SystemTime::now() - 2 * ABANDONED;
    File::options().append(true).open(&old).unwrap().set_modified(when).unwrap();
    made(&store, "i", one);
    assert!(!old.exists() && new.exists());
    store.clear().unwrap();
    assert_eq!(store.entries(), []);
    assert!(mine.exists() && !new.exists());
}
