"""Lists each case of bad input, misuse and fault that the service must handle, with the tests that try it.

A case without a test, or with a renamed test, fails here. If a case applies to every route, its test takes the routes
from the API description."""

import re
import socket
from pathlib import Path
from typing import Any

import pytest

from tests.api.test_documented_refusals import IN_A_CHILD, Asking, demo_service, operations
from tests.conftest import Fresh

TESTS = Path(__file__).parents[1]
CASES: dict[str, list[str]] = {
    "an offer of another protocol, with a body": [
        "api/test_framing.py::test_a_request_that_offers_another_protocol_is_read_as_any_other",
        "api/test_framing.py::test_the_default_client_of_openjdk_gets_an_answer_to_each_request",
        "api/test_framing.py::test_curl_that_offers_http_2_gets_an_answer",
    ],
    "trailers": [
        "api/test_framing.py::test_trailers_decide_nothing",
        "api/test_framing.py::test_trailers_without_end_are_refused_within_the_limits_of_a_header",
    ],
    "codings, absolute targets, expectations": [
        "api/test_refusals.py::test_an_answer_is_packed_only_for_who_takes_it",
        "api/test_framing.py::test_a_transfer_coding_but_chunked_is_not_understood",
        "api/test_framing.py::test_the_target_decides_over_the_host_line",
        "api/test_framing.py::test_a_refused_expectation_closes_the_connection",
    ],
    "host wildcard against what is no host": ["api/test_refusals.py::test_only_our_hosts_are_answered"],
    "wrong settings, misspelt settings": [
        "operate/test_wrong_settings.py::test_a_value_that_cannot_be_used_is_refused_by_name",
        "operate/test_wrong_settings.py::test_a_name_that_is_nearly_a_setting_is_found_out",
    ],
    "a page from another origin": [
        "browser/test_other_origins.py::test_a_page_from_elsewhere_is_blocked_unless_its_origin_is_listed",
        "browser/test_other_origins.py::test_a_page_whose_origin_is_listed_reads_batches_and_writes_with_a_key",
    ],
    "schemathesis: lookups, writes, every check": [
        "api/test_conformance.py::test_every_answer_is_as_described",
        "api/test_audit_fuzz.py::test_no_write_fails_or_answers_otherwise_than_described",
    ],
    "unknown parameter, near miss": [
        "api/test_strict.py::test_an_unknown_parameter_is_named_with_the_nearest_known_one",
        "api/test_documented_refusals.py::test_what_is_refused_is_refused_as_described",
    ],
    "repeated parameter": ["api/test_strict.py::test_a_single_valued_parameter_may_not_repeat"],
    "unknown id, near miss, in thrice the time at most": [
        "api/test_search.py::test_an_unknown_id_costs_at_most_three_known_ones"
    ],
    "NaN, Infinity, 1e999, -0, 1e-400": [
        "api/test_strict.py::test_an_invalid_value_is_refused",
        "api/test_strict.py::test_minus_zero_is_zero",
        "api/test_json_body.py::test_invalid_values_are_a_422",
    ],
    "2^63, 5,000 digits": [
        "api/test_strict.py::test_an_invalid_value_is_refused",
        "api/test_json_body.py::test_invalid_values_are_a_422",
    ],
    "lone surrogate, NUL, bidi, composed and decomposed": [
        "api/test_strict.py::test_an_invalid_value_is_refused",
        "api/test_strict.py::test_composed_and_decomposed_letters_are_the_same_word",
    ],
    "deep JSON, many keys": ["api/test_json_body.py::test_what_is_hostile_is_refused_at_once"],
    "invalid UTF-8, UTF-16, BOM, duplicate keys": ["api/test_json_body.py::test_what_is_not_json_is_a_400"],
    "body over the cap, chunked, compressed": [
        "api/test_wire.py::test_a_chunked_body_is_refused_at_the_byte_too_many",
        "api/test_wire.py::test_a_large_body_is_refused_before_it_is_read",
        "api/test_refusals.py::test_a_compressed_body_is_not_taken",
    ],
    "long address, long header, many headers": [
        "api/test_wire.py::test_what_is_not_a_request_of_ours_is_a_problem_not_a_hang"
    ],
    "slow header, slow body, 50 of them": ["api/test_wire.py::test_fifty_slow_senders_do_not_slow_the_others"],
    "slow reader": ["api/test_wire.py::test_a_reader_that_stops_is_cut_off"],
    "two lengths, bare LF, absolute form": [
        "api/test_wire.py::test_what_is_not_a_request_of_ours_is_a_problem_not_a_hang"
    ],
    "HEAD, OPTIONS, TRACE, FOO, POST on a lookup": [
        "api/test_forms.py::test_head_has_the_headers_of_get_and_no_body",
        "api/test_forms.py::test_options_lists_every_method_of_the_address",
        "api/test_forms.py::test_another_method_is_a_405_that_lists_them",
    ],
    "Accept, suffix": [
        "api/test_forms.py::test_the_end_of_the_address_beats_format_beats_accept",
        "api/test_documented_refusals.py::test_a_form_that_is_not_there_is_a_406_where_that_is_said",
    ],
    "wrong Content-Type": ["api/test_json_body.py::test_a_body_of_another_type_is_told_what_is_taken"],
    "forged Host and X-Forwarded": [
        "api/test_refusals.py::test_only_our_hosts_are_answered",
        "api/test_refusals.py::test_forwarded_headers_change_nothing",
    ],
    "CRLF in what could reach a header": [
        "api/test_wire.py::test_crlf_in_the_address_ends_in_no_header",
        "api/test_refusals.py::test_a_bad_request_id_is_replaced",
    ],
    "path traversal": [
        "api/test_strict.py::test_an_address_of_nothing_is_a_404",
        "exchange/test_broken_packages.py::test_a_zip_that_points_outside_is_refused_and_nothing_is_written",
        "exchange/test_broken_packages.py::test_a_zip_bomb_is_refused_before_it_is_unpacked",
        "exchange/test_broken_packages.py::test_links_doubles_and_encrypted_entries_are_refused",
    ],
    "search operators": ["api/test_search.py::test_no_text_is_a_query_language"],
    "any bytes as a package; a package hurt anywhere": [
        "exchange/test_reader_properties.py::test_any_bytes_give_findings_and_never_an_error",
        "exchange/test_reader_properties.py::test_a_package_hurt_anywhere_is_read_or_said_to_be_hurt",
    ],
    "wildcards": ["api/test_search.py::test_wildcards_are_letters_of_no_meaning"],
    "SQL in text": ["api/test_lists.py::test_sql_in_any_text_filter_finds_nothing_and_harms_nothing"],
    "hostile unit": ["units/test_units_table.py::test_hostile_text_is_refused_at_once_and_never_echoed_long"],
    "spellings of units": ["units/test_units_table.py::test_a_spelling_of_the_trade_is_read_as_its_unit"],
    "kinds stay apart": [
        "units/test_units_table.py::test_kinds_that_look_alike_stay_apart",
        "units/test_units_table.py::test_torque_never_becomes_energy",
    ],
    "limits after conversion": ["units/test_units_quantity.py::test_ten_thousand_converted_limits_never_loosen"],
    "patterns that backtrack": ["api/test_audit_parsers.py::test_no_pattern_takes_long_over_what_nearly_matches"],
    "stored markup": [
        "api/test_pages.py::test_what_is_stored_is_never_markup",
        "api/test_pages.py::test_what_was_typed_is_never_markup",
    ],
    "CSV formulas": ["api/test_forms.py::test_csv_guards_text_and_leaves_numbers_numbers"],
    "key: none, malformed, wrong, revoked, wrong scope, in the address": [
        "api/test_edit_keys.py::test_no_answer_tells_a_wrong_key_from_another_or_whether_an_id_exists",
        "api/test_edit_keys.py::test_a_key_does_what_its_scopes_say",
        "api/test_forks_apart.py::test_every_route_takes_a_key_of_the_scope",
    ],
    "keys made on the command line do what their scopes say": [
        "exchange/test_keys_command.py::test_a_key_is_made_shown_once_listed_and_revoked"
    ],
    "trailing slash, doubled slash": ["api/test_strict.py::test_an_address_of_nothing_is_a_404"],
    "key at rest": ["api/test_edit_keys.py::test_the_database_keeps_the_hash_of_a_key_and_nothing_else"],
    "key timing": ["api/test_edit_keys.py::test_a_key_that_is_there_is_not_told_from_one_that_is_not_by_time"],
    "mass assignment": [
        "api/test_edits.py::test_an_invalid_body_is_refused_with_its_place",
        "api/test_forks.py::test_what_is_wrong_with_a_body_is_named_at_its_place",
    ],
    "rate limit by key and by address, clock set back": [
        "api/test_rates.py::test_a_key_is_one_client_and_others_behind_its_address_are_not",
        "api/test_rates.py::test_guessed_keys_are_counted_by_address",
        "replicas/test_shared_rates.py::test_a_rate_holds_over_both_workers",
        "replicas/test_shared_rates.py::test_a_key_is_one_client_of_both_workers",
        "api/test_edits.py::test_too_many_writes_are_refused_until_later",
        "operate/test_clock.py::test_a_client_is_not_shut_out_until_the_clock_has_caught_up",
    ],
    "no If-Match, stale, two writers": [
        "api/test_edits.py::test_of_two_editors_at_once_one_wins_and_the_other_loses_nothing",
        "api/test_documented_refusals.py::test_what_is_refused_is_refused_as_described",
    ],
    "Idempotency-Key": [
        "api/test_edits.py::test_the_same_request_again_gives_the_same_answer_and_writes_once",
        "api/test_forks.py::test_the_same_request_again_is_one_job",
    ],
    "one bad row in 10,000": ["exchange/test_broken_packages.py::test_one_bad_row_in_ten_thousand_stores_nothing"],
    "kill -9": [
        "exchange/test_writers.py::test_a_killed_load_leaves_the_old_revision_or_the_new_one",
        "exchange/test_killed_server.py::test_what_was_acknowledged_survives_a_kill_and_nothing_is_half_there",
        "bench/test_killed_bench.py::test_what_was_acknowledged_is_there_after_a_kill",
    ],
    "full disk": ["operate/test_full_disk.py::test_what_would_be_stored_is_refused_and_lookups_go_on"],
    "a database that cannot be used": [
        "operate/test_database_faults.py::test_a_service_does_not_start_on_what_it_cannot_use",
        "operate/test_database_faults.py::test_a_fault_under_a_running_service_is_reported_and_over_when_fixed",
    ],
    "backup beside writes, restore, flipped bit": [
        "operate/test_backup.py::test_a_backup_beside_writes_is_restored_elsewhere_as_it_was_at_one_moment",
        "operate/test_restore.py::test_no_flipped_bit_of_a_folder_passes",
    ],
    "locked, deadline, client gone": [
        "operate/test_database_faults.py::test_a_locked_database_is_said_to_be",
        "api/test_refusals.py::test_what_takes_too_long_is_given_up",
        "api/test_client_gone.py::test_what_is_looked_up_ends_with_its_time",
        "api/test_client_gone.py::test_what_is_looked_up_ends_when_its_client_is_gone",
    ],
    "a write under lookups": [
        "api/test_answer_cache.py::test_no_answer_is_older_than_the_last_write",
        "api/test_edits.py::test_a_pinned_answer_is_the_same_bytes_after_any_edit",
    ],
    "cursors": [
        "api/test_lists.py::test_a_tampered_cursor_is_refused",
        "api/test_lists.py::test_a_cursor_goes_on_at_its_revision_and_nowhere_else",
    ],
    "pages = export = count": ["api/test_lists.py::test_pages_count_spreadsheet_and_export_agree_whatever_is_filtered"],
    "If-None-Match; tags differ by form and units": [
        "api/test_forms.py::test_unchanged_is_a_304_however_the_tag_is_listed",
        "api/test_forms.py::test_tags_differ_by_form_and_by_what_was_asked",
    ],
    "no outbound connection": ["api/test_audit_cases.py::test_no_answer_opens_a_connection"],
    "a fault of ours": ["api/test_refusals.py::test_a_fault_of_ours_tells_the_log_everything_and_the_client_an_id"],
    "log injection; keys in the log": [
        "api/test_refusals.py::test_one_line_a_request_whatever_is_sent",
        "api/test_refusals.py::test_a_key_is_never_logged",
        "api/test_refusals.py::test_parameters_are_logged_by_name_only",
    ],
    "SIGTERM, port in use, idle connections": [
        "api/test_server.py::test_it_says_where_it_answers_and_finishes_what_is_under_way_at_a_stop",
        "api/test_server.py::test_a_port_in_use_is_one_plain_line_and_an_exit_code",
        "api/test_wire.py::test_idle_connections_do_not_keep_others_out",
    ],
    "more than can be answered": [
        "api/test_overload.py::test_too_much_is_sent_away_and_over_as_soon_as_it_ends",
        "api/test_overload.py::test_a_queue_differs_from_a_pause",
        "api/test_refusals.py::test_more_at_once_than_allowed_is_a_503_but_the_process_still_says_it_lives",
    ],
    "an old client": ["api/test_compatibility.py::test_every_break_since_the_last_release_has_a_row"],
    "another's answer out of what is kept": [
        "api/test_answer_cache_pairs.py::test_every_answer_is_that_of_a_service_that_keeps_none",
        "api/test_answer_cache_audit.py::test_a_refused_client_stays_refused_after_another_was_answered",
    ],
    "documentation from our own host, strict policy": [
        "api/test_openapi.py::test_the_page_and_all_it_loads_are_ours",
        "api/test_refusals.py::test_a_browser_is_told_what_an_answer_may_not_do",
    ],
}


@pytest.mark.parametrize("case", CASES)
def test_the_test_of_a_case_is_there(case: str) -> None:
    for each in CASES[case]:
        file, _, name = each.partition("::")
        assert re.search(rf"^(async )?def {name}\(", (TESTS / file).read_text(), re.MULTILINE), each


@pytest.mark.anyio
async def test_no_answer_opens_a_connection(
    fresh_database: Fresh, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every operation except the exports, sent as recorded, with foreign addresses in the input. On SQLite the service
    has no peer to connect to (wire case 48)."""
    async with demo_service(fresh_database, tmp_path) as (service, fork):

        def refuse(*given: Any) -> None:
            raise AssertionError(f"a connection to {given[-1]}")

        for name in ("connect", "connect_ex", "sendto"):
            monkeypatch.setattr(socket.socket, name, refuse)
        monkeypatch.setattr(socket, "getaddrinfo", refuse)
        with pytest.raises(AssertionError, match="a connection"):
            socket.create_connection(("127.0.0.1", 9))
        forged = {"X-Forwarded-Host": "evil.test", "Referer": "http://evil.test/", "Origin": "http://evil.test"}
        for path, method, operation in operations():
            if operation["operationId"] not in IN_A_CHILD:
                answer = await Asking(service, fork, path, method, operation)(headers=forged)
                assert answer.status_code < 500, path
        for address in (
            "/v1/search?q=http://evil.test/",
            "/v1/makers?website=http://evil.test/",
            "/?q=file:///etc/passwd",
        ):
            assert (await service.client.get(address)).status_code in (200, 422)
