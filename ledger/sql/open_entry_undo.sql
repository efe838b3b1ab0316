drop function ledger_open_entry(uuid, text, timestamptz, int, text, text, jsonb, uuid);
