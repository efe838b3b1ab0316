drop trigger check_postings on ledger_posting;
drop function ledger_check_postings();
drop function ledger_reverse_entry(uuid, uuid, timestamptz, int, text);
drop function ledger_post_entry(
  uuid, text, timestamptz, int, text, text, jsonb, uuid[], uuid[], uuid[], numeric[], numeric[]);
drop function ledger_not_enough(uuid, numeric, numeric);
drop function ledger_keep_promises(uuid, ledger_move[], text);
drop function ledger_check_days(uuid, date);
drop function ledger_carry(uuid);
drop function ledger_owe_checks(uuid[]);
drop function ledger_open_layers(ledger_move[]);
drop function ledger_open_entry(uuid, text, timestamptz, int, text, text, jsonb, uuid);
drop function ledger_lock_pools(uuid[]);
drop function ledger_make_pools(uuid[]);
drop function ledger_lot_facts(uuid);
drop function ledger_part(numeric, numeric, numeric);
drop type ledger_move;
