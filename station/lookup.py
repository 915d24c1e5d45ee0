"""What the commands that look into the record do: list, show and certificate."""

from datetime import datetime
from pathlib import Path

import platformdirs

from station.board import parse_board
from station.calibration import untraceable
from station.document import parse_document
from station.errors import InputError, StoreError
from station.forms import fill, nearest
from station.names import file_name
from station.profile import DecisionForm
from station.report.certificate import certificate_html
from station.report.documents import head_document, print_json, stored_document
from station.report.tables import records_table, run_table, said
from station.store import Store, StoredRun, open_store

__all__ = ["certificate", "chosen_store", "list_records", "show_record", "written_certificate"]


def chosen_store(store: str | None, *, own: str = "records.sqlite") -> str:
    """Return the record that was chosen, or else the user's own one."""
    return str(platformdirs.user_data_path("railbench") / own) if store is None else store


def list_records(store: str | None, *, as_json: bool) -> None:
    """List all runs, oldest first."""
    with open_store(chosen_store(store), create=False) as record:
        heads = record.heads()
    if as_json:
        print_json([head_document(head) for head in heads])
    else:
        said(records_table(heads))


def show_record(key: str, store: str | None, *, as_json: bool) -> None:
    """Show one run's lines."""
    with open_store(chosen_store(store), create=False) as record:
        run = _found(record, key)
    if as_json:
        print_json(stored_document(run))
    else:
        said(*run_table(run))


def certificate(key: str, store: str | None, output: Path | None, *, without_calibration: bool = False) -> Path:
    """Write the page of a run and return where it is."""
    with open_store(chosen_store(store), create=False) as record:
        return written_certificate(record, key, output, without_calibration=without_calibration)


def written_certificate(record: Store, key: str, output: Path | None, *, without_calibration: bool = False) -> Path:
    """Write the page of a run from its stored texts.

    InputError for an unknown one, one that did not end, and one whose readings can't be traced, unless it is wanted
    `without_calibration`, which the page then states.
    """
    run = _found(record, key)
    if run.head["outcome"] is None:
        what = f"the newest run of '{key}' did not end, so there is nothing to certify"
        raise InputError.about(what, "run the board again")
    missing = untraceable(run.bench, datetime.fromisoformat(run.head["started"]).date())
    if missing and not (run.head["simulated"] or without_calibration):
        instead = "have it calibrated and test again, or add --without-calibration, which the page then states"
        raise InputError.about(f"nothing can be certified: {'; '.join(missing)}", instead)
    title = parse_board(record.text(run.head["board_sha256"]), "board sheet in the record").title
    rule = _rule(record.text(run.head["profile_sha256"]))
    page = certificate_html(run, title=title, rule=rule, untraceable=missing)
    path = output or Path(file_name(run.head["serial"], ".html"))
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as error:
        raise StoreError(f"{path}: the page can't be written ({error.strerror}); name another --output") from error
    return path


def _rule(profile_text: str) -> str:
    document = parse_document(profile_text, "profile in the record")
    form, problems = fill(DecisionForm, document.data.get("decision", {}), document, ("decision",))
    if form is None:
        raise InputError(problems)
    return str(form.made())


def _found(record: Store, key: str) -> StoredRun:
    run = record.found(key)
    if run is None:
        serials = sorted({head["serial"] for head in record.heads()})
        instead = nearest(key, serials) if 0 < len(serials) < 20 else "see 'railbench records list'"
        raise InputError.about(f"the record {record.place} holds no run of '{key}'", instead)
    return run
