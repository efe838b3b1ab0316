create or replace function ledger_position(coop uuid, maker uuid, material uuid, day date)
returns table (on_hand numeric, usable numeric, reserved numeric, shortfall numeric,
               on_order numeric, "position" numeric)
language sql stable as $$
  select h.on_hand, h.usable, r.reserved, s.shortfall, o.on_order,
         h.usable + o.on_order - r.reserved - s.shortfall
    from (select coalesce(sum(h.quantity), 0) as on_hand,
                 coalesce(sum(h.quantity) filter (where (
                   select c.status = 'released'
                          and coalesce(least(l.expires_on, l.retest_on) >= day, true)
                     from ledger_custody c, ledger_lot l
                     where c.coop_id = coop and c.maker_id = maker and c.lot_id = h.lot_id
                       and l.coop_id = coop and l.id = h.lot_id)), 0) as usable
            from ledger_holding h
            where h.coop_id = coop and h.maker_id = maker and h.material_id = material
              and h.kind = 'store' and h.any_left) h,
         (select coalesce(sum(r.quantity), 0) as reserved from ledger_reservation r
            where r.coop_id = coop and r.maker_id = maker and r.material_id = material) r,
         (select coalesce(sum(s.quantity), 0) as shortfall from ledger_shortfall s
            where s.coop_id = coop and s.maker_id = maker and s.material_id = material) s,
         (select 0::numeric as on_order) o
$$;
drop trigger put_back_on_order on ledger_entry;
drop trigger take_off_order on ledger_receiptline;
drop trigger check_order on ledger_receipt;
drop trigger heed_order_fact on ledger_purchaseorderfact;
drop trigger put_on_order on ledger_purchaseorderline;
drop function ledger_put_back_on_order();
drop function ledger_take_off_order();
drop function ledger_check_order_of_receipt();
drop function ledger_heed_order_fact();
drop function ledger_put_on_order();
alter table ledger_receiptline drop constraint ledger_receiptline_order_line_id_fk;
alter table ledger_receipt drop constraint ledger_receipt_order_id_fk;
revoke select on ledger_receiptline from stillroom_ledger;
