drop function ledger_counts();
drop function ledger_sweep_watches(timestamptz, timestamptz);
drop function ledger_forget_outbox(interval);
drop function ledger_outbox_state(int);
drop function ledger_claim_outbox(interval, int);
drop function ledger_stock(uuid[], date);
drop function ledger_position(uuid, uuid, uuid, date);
revoke delete on ledger_outbox from stillroom_ledger;
revoke select on ledger_alert from stillroom_ledger;
