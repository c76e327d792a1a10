use super::*;
use crate::record::block::tests::some_block;

const ORIGIN: Origin = Origin { arm: "level plane", point: 2, replicate: 0 };

fn folder_with(parts: &[(u32, u64)]) -> (tempfile::TempDir, Parts) {
    let folder = tempfile::tempdir().unwrap();
    for &(variant, part) in parts {
        let first = part * TRIALS_IN_A_PART;
        let id = PartId { variant, part };
        write_part(folder.path(), id, ORIGIN, &some_block(first..first + 50, 2)).unwrap();
    }
    let listed = Parts::list(folder.path()).unwrap();
    (folder, listed)
}

#[test]
fn identity_what_is_written_is_read_back() {
    let (_folder, parts) = folder_with(&[(0, 0), (0, 1), (3, 0)]);
    assert_eq!(parts.ids().count(), 3);
    assert_eq!(parts.of_variant(0).count(), 2);
    let last = parts.column(0, "leg_length_error_mm", Rows::LastReduction).unwrap();
    // Trials 0..50 and 10,000..10,050; those with remainder 3 by 7 have no leg length.
    let trials: Vec<u64> = (0..50).chain(10_000..10_050).collect();
    let expected: Column = trials.iter().map(|trial| (trial % 7 != 3).then_some(0.25)).collect();
    assert_eq!(last, expected);
    let [truth, reduction] = parts.columns(0, ["offset_true_mm", "reduction"], Rows::LastReduction).unwrap();
    assert!(truth.iter().zip(&trials).all(|(value, &trial)| value == Some(trial as f64 + 0.125)));
    assert!(reduction.iter().all(|value| value == Some(1.0)));
    assert_eq!(parts.column(0, "trial", Rows::All).unwrap().len(), 200);
    // A reading that is not a number is no reading.
    assert_eq!(parts.column(0, "offset_read_mm", Rows::LastReduction).unwrap().missing(), last.missing());
    assert_eq!(parts.column(0, "largest_gap_deg", Rows::All).unwrap().missing(), 200);
    let failures = parts.failures(0, Rows::LastReduction).unwrap();
    assert_eq!(failures.into_iter().collect::<Vec<_>>(), [("cup: rank loss".to_owned(), last.missing() as u64)]);
}

#[test]
fn identity_columns_stand_in_the_documented_order() {
    let (folder, _) = folder_with(&[(0, 0)]);
    let part = parquet::Part::open(&PartId { variant: 0, part: 0 }.path(folder.path())).unwrap();
    let drawn = ["anatomy_asis_width_mm", "implant_leg_length_mm", "implant_offset_mm"].map(String::from);
    let mut expected: Vec<String> = fixed_columns().collect();
    expected.splice(9..9, drawn);
    expected.push("lost_share_cup".to_owned());
    assert_eq!(part.names().collect::<Vec<_>>(), expected);
    assert!(expected.contains(&"inclination_error_deg".to_owned()));
    assert!(expected.contains(&"centre_anterior_read_mm".to_owned()));
}

#[test]
fn identity_check_says_which_trials_are_there() {
    let (_folder, parts) = folder_with(&[(1, 4)]);
    let coverage = parts.check(PartId { variant: 1, part: 4 }).unwrap();
    assert_eq!(coverage, Coverage { trials: Some((40_000, 40_049)), trial_count: 50, rows: 100 });
    assert!(parts.check(PartId { variant: 1, part: 5 }).is_err());
}

#[test]
fn identity_bytes_do_not_depend_on_the_thread() {
    let block = some_block(0..10_000, 3);
    let bytes = |_| {
        let mut bytes = Vec::new();
        parquet::write(&mut bytes, ORIGIN, &block).unwrap();
        bytes
    };
    let here = bytes(0);
    let there: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..3).map(|thread| scope.spawn(move || bytes(thread))).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    assert!(there.iter().all(|bytes| *bytes == here));
}

#[test]
fn identity_a_bad_file_is_named() {
    let (folder, parts) = folder_with(&[(0, 0)]);
    let id = PartId { variant: 0, part: 0 };
    let path = id.path(folder.path());
    let whole = std::fs::read(&path).unwrap();
    for cut in [0, 3, 8, whole.len() / 2, whole.len() - 1] {
        std::fs::write(&path, &whole[..cut]).unwrap();
        for error in [parts.check(id).err(), parts.column(0, "trial", Rows::All).err()] {
            assert!(error.unwrap().to_string().contains("0000-000000.parquet"), "cut at {cut}");
        }
    }
    std::fs::write(&path, &whole).unwrap();
    let error = parts.column(0, "colour", Rows::All).unwrap_err().to_string();
    assert!(error.contains("0000-000000.parquet") && error.contains("colour"), "{error}");

    // A part under another part's name.
    std::fs::rename(&path, PartId { variant: 0, part: 7 }.path(folder.path())).unwrap();
    let error = Parts::list(folder.path()).unwrap().check(PartId { variant: 0, part: 7 }).unwrap_err();
    assert!(error.to_string().contains("0000-000007.parquet"), "{error}");

    std::fs::write(folder.path().join(".unfinished-1.parquet"), "half").unwrap();
    assert!(Parts::list(folder.path()).is_ok());
    std::fs::write(folder.path().join("other.parquet"), "half").unwrap();
    assert!(Parts::list(folder.path()).unwrap_err().to_string().contains("other.parquet"));
}

#[test]
fn identity_rows_of_another_range_or_out_of_order_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut backwards = some_block(10..20, 1);
    backwards.append(some_block(0..5, 1));
    for block in [some_block(9_990..10_010, 1), backwards] {
        assert!(write_part(folder.path(), PartId { variant: 0, part: 0 }, ORIGIN, &block).is_err());
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}
