drop trigger shared_bills_stay on ledger_entry;
drop function ledger_shared_bills_stay();
drop function ledger_share_late_bills(uuid, uuid, timestamptz, int, text, int, jsonb);
drop function ledger_late_to_stock(uuid, numeric, numeric, int);
drop function ledger_round_billed(uuid);
