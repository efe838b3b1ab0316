drop trigger keep_bills on ledger_entry;
drop function ledger_keep_bills();
drop function ledger_revalue(uuid, text, timestamptz, int, text, jsonb, uuid, uuid, uuid,
                             uuid[], numeric[], numeric[]);
drop function ledger_revalue_from(uuid, text, timestamptz, int, text, jsonb, uuid, uuid, uuid,
                                  uuid[], numeric[], numeric[]);
revoke select on ledger_receipt from stillroom_ledger;
