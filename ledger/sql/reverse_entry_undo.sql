drop function ledger_reverse_entry(uuid, uuid, timestamptz, int, text);
