drop function ledger_post_clearing(uuid, timestamptz, int, text, int, uuid[], uuid[], numeric[],
  uuid[], uuid[], uuid[], uuid[], numeric[]);
drop function ledger_coop_balances();
drop function ledger_record_payment(uuid, uuid, uuid, numeric, timestamptz, int, text, uuid, uuid[],
  uuid[], uuid[]);
drop view ledger_disputed;
drop trigger check_dispute on ledger_dispute;
drop function ledger_check_dispute();
