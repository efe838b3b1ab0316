-- Orders from suppliers: a maker's own, only ever added. How each line stands is kept by the
-- triggers below; whoever writes a fact or a delivery of it holds the lock of the material's pool.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['ledger_purchaseorder', 'ledger_purchaseorderline',
                    'ledger_purchaseorderfact']) t;
select walls.link('ledger_purchaseorder', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_purchaseorderline', 'order_id', 'ledger_purchaseorder', 'maker'),
       walls.link('ledger_purchaseorderline', 'material_id', 'ledger_material'),
       walls.link('ledger_purchaseorderfact', 'order_id', 'ledger_purchaseorder', 'maker'),
       walls.link('ledger_purchaseorderfact', 'line_id', 'ledger_purchaseorderline', 'maker'),
       walls.link('ledger_purchaseorderfact', 'of_id', 'ledger_purchaseorderfact', 'maker'),
       walls.link('ledger_receipt', 'order_id', 'ledger_purchaseorder', 'maker'),
       walls.link('ledger_receiptline', 'order_line_id', 'ledger_purchaseorderline', 'maker');
select walls.of_maker('ledger_onorder'),
       walls.link('ledger_onorder', 'line_id', 'ledger_purchaseorderline', 'maker'),
       walls.link('ledger_onorder', 'order_id', 'ledger_purchaseorder', 'maker'),
       walls.link('ledger_onorder', 'material_id', 'ledger_material');
revoke insert, update, delete, truncate on ledger_onorder from stillroom;
grant select, insert, update on ledger_onorder to stillroom_ledger;
grant select on ledger_purchaseorder, ledger_purchaseorderline, ledger_purchaseorderfact,
  ledger_receipt, ledger_receiptline to stillroom_ledger;

alter table ledger_purchaseorder add constraint order_not_in_future
  check (written_at <= recorded_at + interval '1 minute');
alter table ledger_purchaseorderfact add constraint order_fact_not_in_future
  check (happened_at <= recorded_at + interval '1 minute');

-- What is written is to come.
create function ledger_put_on_order() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  insert into ledger_onorder (coop_id, maker_id, line_id, order_id, material_id, ordered, received,
                              price, expected_on, ended)
  values (new.coop_id, new.maker_id, new.id, new.order_id, new.material_id, new.quantity, 0,
          new.price, new.expected_on, false);
  return new;
end $$;
select walls.define('ledger_put_on_order()');
create trigger put_on_order after insert on ledger_purchaseorderline
  for each row execute function ledger_put_on_order();

-- A correction makes its line to come as it now says, also one that had ended; what has ended is
-- not to come any more.
create function ledger_heed_order_fact() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  if new.line_id is not null and not exists (select from ledger_purchaseorderline l
      where l.coop_id = new.coop_id and l.maker_id = new.maker_id and l.id = new.line_id
        and l.order_id = new.order_id) then
    raise exception 'A fact of an order is about its own lines.'
      using errcode = '23514', constraint = 'order_fact_of_own_line';
  end if;
  if new.kind = 'corrected' then
    update ledger_onorder o set ordered = new.quantity, price = new.price,
                                expected_on = new.expected_on, ended = false
      where o.coop_id = new.coop_id and o.maker_id = new.maker_id and o.line_id = new.line_id;
  elsif new.kind = 'ended' then
    update ledger_onorder o set ended = true
      where o.coop_id = new.coop_id and o.maker_id = new.maker_id and o.order_id = new.order_id
        and (new.line_id is null or o.line_id = new.line_id);
  end if;
  return new;
end $$;
select walls.define('ledger_heed_order_fact()');
create trigger heed_order_fact after insert on ledger_purchaseorderfact
  for each row execute function ledger_heed_order_fact();

-- A delivery is against an order of whoever brought it.
create function ledger_check_order_of_receipt() returns trigger language plpgsql as $$
begin
  if not exists (select from ledger_purchaseorder p
      where p.coop_id = new.coop_id and p.maker_id = new.maker_id and p.id = new.order_id
        and p.supplier_id = new.supplier_id) then
    raise exception 'A delivery is against an order of its own supplier.'
      using errcode = '23514', constraint = 'receipt_is_as_ordered';
  end if;
  return new;
end $$;
create trigger check_order before insert on ledger_receipt for each row
  when (new.order_id is not null) execute function ledger_check_order_of_receipt();

-- What came is of the material that its line asks for, from whom it was asked.
create function ledger_take_off_order() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  update ledger_onorder o set received = o.received + new.quantity
    from ledger_receipt r, ledger_purchaseorder p, ledger_lot l
    where o.coop_id = new.coop_id and o.maker_id = new.maker_id and o.line_id = new.order_line_id
      and r.coop_id = new.coop_id and r.id = new.receipt_id
      and coalesce(r.order_id, o.order_id) = o.order_id
      and p.coop_id = new.coop_id and p.id = o.order_id and p.supplier_id = r.supplier_id
      and l.coop_id = new.coop_id and l.id = new.lot_id and l.material_id = o.material_id;
  if not found then
    raise exception 'What came is not what its line of the order asks for.'
      using errcode = '23514', constraint = 'receipt_is_as_ordered';
  end if;
  return new;
end $$;
select walls.define('ledger_take_off_order()');
create trigger take_off_order after insert on ledger_receiptline for each row
  when (new.order_line_id is not null) execute function ledger_take_off_order();

-- What a delivery brought is to come again once the delivery is undone.
create function ledger_put_back_on_order() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  update ledger_onorder o set received = o.received - d.quantity
    from (select i.order_line_id, sum(i.quantity) as quantity
            from ledger_receipt r
            join ledger_receiptline i on i.coop_id = r.coop_id and i.receipt_id = r.id
            where r.coop_id = new.coop_id and r.maker_id = new.maker_id
              and r.entry_id = new.reverses_id and i.order_line_id is not null
            group by 1) d
    where o.coop_id = new.coop_id and o.maker_id = new.maker_id and o.line_id = d.order_line_id;
  return new;
end $$;
select walls.define('ledger_put_back_on_order()');
create trigger put_back_on_order after insert on ledger_entry for each row
  when (new.reverses_id is not null) execute function ledger_put_back_on_order();
