drop function ledger_other_users(uuid[]);
alter table ledger_alert drop constraint ledger_alert_lot_id_fk;
