drop function ledger_post_entry(
  uuid, text, timestamptz, int, text, text, jsonb, uuid[], uuid[], uuid[], numeric[], numeric[]);
