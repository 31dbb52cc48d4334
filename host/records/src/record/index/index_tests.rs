//! Schemas old, new, foreign and damaged.

use super::*;

#[test]
fn a_new_index_has_the_present_schema_and_is_opened_again() {
    let dir = tempfile::tempdir().unwrap();
    for _ in 0..2 {
        let index = Index::open(dir.path()).unwrap();
        assert_eq!(index.schema().unwrap(), INDEX_SCHEMA);
        assert!(index.find(&Query::default()).unwrap().is_empty());
        assert!(index.damage().unwrap().is_empty());
    }
}

#[test]
fn an_index_of_a_later_program_is_refused_and_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let index = Index::open(dir.path()).unwrap();
    index.db.pragma_update(None, "user_version", INDEX_SCHEMA + 1).unwrap();
    drop(index);
    let before = std::fs::read(dir.path().join(INDEX_FILE)).unwrap();
    for opened in [Index::open(dir.path()), Index::open_to_read(dir.path())] {
        let error = opened.unwrap_err();
        assert!(matches!(error, IndexError::Newer { .. }), "{error}");
        assert!(error.to_string().contains("use the program that wrote it"), "{error}");
    }
    assert_eq!(std::fs::read(dir.path().join(INDEX_FILE)).unwrap(), before);
}

#[test]
fn another_programs_database_and_what_is_none_are_told_apart() {
    let dir = tempfile::tempdir().unwrap();
    Connection::open(dir.path().join(INDEX_FILE)).unwrap().execute_batch("CREATE TABLE other (a)").unwrap();
    assert!(matches!(Index::open(dir.path()), Err(IndexError::Foreign { .. })));
    std::fs::write(dir.path().join(INDEX_FILE), [b'x'; 5000]).unwrap();
    let error = Index::open(dir.path()).unwrap_err().to_string();
    assert!(error.contains("damaged"), "{error}");
    std::fs::remove_file(dir.path().join(INDEX_FILE)).unwrap();
    assert!(matches!(Index::open_to_read(dir.path()), Err(IndexError::Absent { .. })));
    assert!(!dir.path().join(INDEX_FILE).exists(), "asking makes nothing");
}

#[test]
fn a_path_of_any_letters_is_an_address() {
    assert_eq!(percent_encoded(Path::new("/a b/ü?#%")), "/a%20b/%C3%BC%3F%23%25");
}
