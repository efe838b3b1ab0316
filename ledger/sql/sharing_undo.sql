drop function ledger_show_shares(uuid[]);
drop function ledger_accept_claim(
  uuid, uuid, timestamptz, int, int, uuid, uuid, uuid[], uuid[]);
drop function ledger_close_claim(uuid, text);
drop function ledger_lock_claim(uuid);
drop trigger check_claim on ledger_claim;
drop function ledger_check_claim();
drop trigger check_share on ledger_share;
drop function ledger_check_share();
drop function ledger_share_open(ledger_share);
revoke insert on ledger_transfer from stillroom_ledger;
