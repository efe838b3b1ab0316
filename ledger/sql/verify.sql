-- What is kept must equal what the postings say. Each row returned is one disagreement: of the
-- co-op, or inside a maker's walls of what is that maker's.
create or replace function ledger_disagreements() returns table (rule text, detail jsonb)
language plpgsql stable security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  return query
  select 'holding equals its postings', to_jsonb(s) from (
    select account_id, lot_id, h.quantity, h.value,
           p.quantity as postings_quantity, p.value as postings_value
      from (select * from ledger_holding
              where coop_id = coop and (maker is null or maker_id = maker)) h
      full join (select account_id, lot_id, sum(quantity) as quantity, sum(value) as value
                   from ledger_posting
                   where coop_id = coop and (maker is null or maker_id = maker)
                     and lot_id is not null group by 1, 2) p
        using (account_id, lot_id)
      where (h.quantity, h.value) is distinct from (p.quantity, p.value)) s
  union all
  select 'layer equals its postings', to_jsonb(s) from (
    select l.id, l.quantity, l.value, p.quantity as postings_quantity, p.value as postings_value
      from ledger_layer l
      left join (select layer_id, sum(quantity) as quantity, sum(value) as value
                   from ledger_layerposting
                   where coop_id = coop and (maker is null or maker_id = maker)
                   group by 1) p on p.layer_id = l.id
      where l.coop_id = coop and (maker is null or l.maker_id = maker)
        and (l.quantity, l.value)
            is distinct from (coalesce(p.quantity, 0), coalesce(p.value, 0))) s
  union all
  select 'layers of a material equal the store', to_jsonb(s) from (
    select maker_id, material_id, l.quantity, l.value,
           h.quantity as store_quantity, h.value as store_value
      from (select maker_id, material_id, sum(quantity) as quantity, sum(value) as value
              from ledger_layer
              where coop_id = coop and (maker is null or maker_id = maker) group by 1, 2) l
      full join (select maker_id, material_id, sum(quantity) as quantity, sum(value) as value
                   from ledger_holding
                   where coop_id = coop and (maker is null or maker_id = maker)
                     and kind = 'store' group by 1, 2) h
        using (maker_id, material_id)
      where (coalesce(l.quantity, 0), coalesce(l.value, 0)) is distinct from
            (coalesce(h.quantity, 0), coalesce(h.value, 0))) s
  union all
  select 'entry sums to zero for each lot', to_jsonb(s) from (
    select entry_id, lot_id, sum(quantity) as quantity from ledger_posting
      where coop_id = coop and (maker is null or maker_id = maker)
      group by 1, 2 having sum(quantity) <> 0) s
  union all
  select 'entry sums to zero in value for each maker', to_jsonb(s) from (
    select entry_id, maker_id, sum(value) as value from ledger_posting
      where coop_id = coop and (maker is null or maker_id = maker)
      group by 1, 2 having sum(value) <> 0) s
  union all
  select 'settlement accounts equal the movements between makers', to_jsonb(s) from (
    select coalesce(p.maker_id, m.maker_id) as maker_id, p.value, m.value as movements
      from (select a.maker_id, sum(x.value) as value
              from ledger_account a
              join ledger_posting x on x.coop_id = a.coop_id and x.account_id = a.id
              where a.coop_id = coop and (maker is null or a.maker_id = maker)
                and a.kind = 'settlement' group by 1) p
      full join (select v.maker_id, sum(v.value) as value
                   from ledger_movement w
                   cross join lateral (values (w.maker_id, w.amount),
                                              (w.to_maker_id, -w.amount)) v(maker_id, value)
                   where w.coop_id = coop and (maker is null or v.maker_id = maker)
                   group by 1) m on m.maker_id = p.maker_id
      where coalesce(p.value, 0) <> coalesce(m.value, 0)) s
  union all
  select 'settlement accounts of a co-op sum to zero', to_jsonb(s) from (
    select sum(x.value) as value
      from ledger_account a
      join ledger_posting x on x.coop_id = a.coop_id and x.account_id = a.id
      where maker is null and a.coop_id = coop and a.kind in ('settlement', 'loan')
      having sum(x.value) <> 0) s
  union all
  select 'goods are never below zero', to_jsonb(s) from (
    select account_id, lot_id, quantity from ledger_holding
      where coop_id = coop and (maker is null or maker_id = maker)
        and kind in ('store', 'batch', 'consignment') and quantity < 0) s
  union all
  select 'reserved is there', to_jsonb(s) from (
    select r.maker_id, r.lot_id, sum(r.quantity) as reserved, h.quantity as on_hand
      from ledger_reservation r
      left join (select maker_id, lot_id, sum(quantity) as quantity from ledger_holding
                   where coop_id = coop and (maker is null or maker_id = maker)
                     and kind = 'store' group by 1, 2) h
        using (maker_id, lot_id)
      where r.coop_id = coop and (maker is null or r.maker_id = maker)
        and r.quantity > 0 group by 1, 2, h.quantity
      having sum(r.quantity) > coalesce(h.quantity, 0)) s
  union all
  select 'on order equals its facts', to_jsonb(s) from (
    select l.id as line_id, o.ordered, o.received, o.ended, l.ordered as facts_ordered,
           l.received as facts_received, l.ended as facts_ended
      from (select x.id, coalesce(f.quantity, x.quantity) as ordered, x.received,
                   exists (select from ledger_purchaseorderfact e
                             where e.coop_id = coop and e.order_id = x.order_id
                               and e.kind = 'ended' and coalesce(e.line_id, x.id) = x.id
                               and (f.id is null or e.id > f.id)) as ended
              from (select y.id, y.order_id, y.quantity, coalesce(sum(i.quantity)
                             filter (where u.id is null), 0) as received
                      from ledger_purchaseorderline y
                      left join ledger_receiptline i on i.coop_id = coop and i.order_line_id = y.id
                      left join ledger_receipt r on r.coop_id = coop and r.id = i.receipt_id
                      left join ledger_entry u on u.coop_id = coop and u.reverses_id = r.entry_id
                      where y.coop_id = coop and (maker is null or y.maker_id = maker)
                      group by 1, 2, 3) x
              left join lateral (
                select c.id, c.quantity from ledger_purchaseorderfact c
                  where c.coop_id = coop and c.order_id = x.order_id and c.line_id = x.id
                    and c.kind = 'corrected' order by c.id desc limit 1) f on true) l
      full join (select * from ledger_onorder
                   where coop_id = coop and (maker is null or maker_id = maker)) o
        on o.line_id = l.id
      where (o.ordered, o.received, o.ended) is distinct from (l.ordered, l.received, l.ended)) s
  union all
  select 'a lot lies where it was put last', to_jsonb(s) from (
    select c.maker_id, c.lot_id, c.place_id, p.place_id as put_into from ledger_custody c
      left join lateral (
        select x.place_id from ledger_placing x
          where x.coop_id = coop and x.maker_id = c.maker_id and x.lot_id = c.lot_id
          order by x.id desc limit 1) p on true
      where c.coop_id = coop and (maker is null or c.maker_id = maker)
        and c.place_id is distinct from p.place_id) s
  union all
  select 'a lot is open as was said last', to_jsonb(s) from (
    select c.maker_id, c.lot_id, c.opened_on, c.use_by, o.opened_on as said_on,
           o.use_by as said_use_by
      from ledger_custody c
      left join lateral (
        select x.opened_on, x.opened_on + x.use_within_days as use_by from ledger_lotopening x
          where x.coop_id = coop and x.maker_id = c.maker_id and x.lot_id = c.lot_id
          order by x.id desc limit 1) o on true
      where c.coop_id = coop and (maker is null or c.maker_id = maker)
        and (c.opened_on, c.use_by) is distinct from (o.opened_on, o.use_by)) s;
end $$;
select walls.define('ledger_disagreements()');

-- Whoever sweeps over all co-ops must know which there are; nothing more is told.
create or replace function ledger_coops() returns table (id uuid, slug text)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select id, slug::text from ledger_coop order by id
$$;
select walls.define('ledger_coops()');
