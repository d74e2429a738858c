'use strict'
const bench = document.getElementById('bench'), box = document.getElementById('photo'), picture = box.querySelector('img')
const lines = box.querySelector('svg'), marks = [...box.querySelectorAll('.corner')], near = document.getElementById('near')
const result = document.getElementById('result'), note = document.getElementById('note'), save = document.getElementById('save')
const wrong = document.getElementById('wrong'), done = document.getElementById('done')
const turn = document.getElementById('turn'), kind = document.getElementById('kind'), size = document.getElementById('size')
const numbers = text => text.trim().split(/[ ,]+/).map(Number)
const [width, height] = numbers(bench.dataset.size)
const paired = flat => [0, 2, 4, 6].map(k => [flat[k], flat[k + 1]])
const start = paired(numbers(bench.dataset.corners))
const was = {turn: turn.value, kind: kind.value, size: size.value}
const rest = 0.08 // of each side: so far outside the photo a corner may lie
let quad = start.map(p => [...p]), whole = false, source = null, waiting = false, address = ''

// --- the photo on the screen ------------------------------------------------------------------------------------

const frame = () => {
  const r = picture.getBoundingClientRect(), b = box.getBoundingClientRect()
  return {left: r.left - b.left, top: r.top - b.top, scale: r.width / width, box: b}
}
const onScreen = (p, f) => [f.left + p[0] * f.scale, f.top + p[1] * f.scale]
const kept = (v, most) => Math.min(most * (1 + rest), Math.max(-most * rest, v))
const unit = (from, to) => {
  const d = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1
  return [(to[0] - from[0]) / d, (to[1] - from[1]) / d]
}

function outward(at) { // from each corner away from the work, along the middle of its two sides
  return at.map((p, k) => {
    const a = unit(p, at[(k + 1) % 4]), b = unit(p, at[(k + 3) % 4])
    const d = unit([0, 0], [-(a[0] + b[0]), -(a[1] + b[1])])
    return Number.isFinite(d[0]) ? d : [0, 0]
  })
}

function show() {
  const f = frame(), at = quad.map(p => onScreen(p, f)), out = outward(at)
  const text = points => points.map(p => p.map(v => v.toFixed(1)).join(',')).join(' ')
  lines.setAttribute('viewBox', `0 0 ${f.box.width} ${f.box.height}`)
  lines.innerHTML = `<polygon class="side" points="${text(at)}"/>` + at.map((p, k) => {
    const c = [p[0] + out[k][0] * 4, p[1] + out[k][1] * 4]
    const ends = [at[(k + 1) % 4], at[(k + 3) % 4]].map(q => { const u = unit(p, q); return [c[0] + u[0] * 26, c[1] + u[1] * 26] })
    const points = text([ends[0], c, ends[1]])
    return `<polyline class="case" points="${points}"/><polyline class="tone" points="${points}"/>`
  }).join('')
  marks.forEach((mark, k) => {
    mark.style.left = `${at[k][0] + out[k][0] * 24}px`
    mark.style.top = `${at[k][1] + out[k][1] * 24}px`
    mark.setAttribute('aria-label', `Corner ${mark.textContent}: ${Math.round(quad[k][0])} across, ${Math.round(quad[k][1])} down; arrow keys move it`)
  })
  if (!waiting) { waiting = true; requestAnimationFrame(() => { waiting = false; tell() }) }
}

function move(k, x, y) {
  quad[k] = [kept(x, width), kept(y, height)]
  whole = false
  show()
  look(k)
}

function look(k) { // what lies under a corner, enlarged, on the side where no finger is
  const context = near.getContext('2d'), side = near.width, reach = Math.max(width, height) * 0.04
  const scale = side / (2 * reach), shown = picture.naturalWidth / width
  context.fillStyle = getComputedStyle(box).backgroundColor
  context.fillRect(0, 0, side, side)
  context.imageSmoothingEnabled = true
  context.drawImage(picture, (quad[k][0] - reach) * shown, (quad[k][1] - reach) * shown, 2 * reach * shown, 2 * reach * shown, 0, 0, side, side)
  context.strokeStyle = getComputedStyle(bench).getPropertyValue('--edge')
  context.lineWidth = 1.5
  context.beginPath()
  for (const q of [quad[(k + 1) % 4], quad[(k + 3) % 4]]) {
    context.moveTo(side / 2, side / 2)
    context.lineTo(side / 2 + (q[0] - quad[k][0]) * scale, side / 2 + (q[1] - quad[k][1]) * scale)
  }
  context.stroke()
  near.classList.toggle('right', quad[k][0] < width / 2)
  near.classList.add('seen')
}

marks.forEach((mark, k) => {
  let held = null
  mark.addEventListener('pointerdown', e => {
    const f = frame(), at = onScreen(quad[k], f)
    held = [e.clientX - at[0], e.clientY - at[1]]
    mark.setPointerCapture(e.pointerId)
    mark.focus({preventScroll: true})
    look(k)
    e.preventDefault()
  })
  mark.addEventListener('pointermove', e => {
    if (!held) return
    const f = frame()
    move(k, (e.clientX - held[0] - f.left) / f.scale, (e.clientY - held[1] - f.top) / f.scale)
  })
  for (const name of ['pointerup', 'pointercancel']) mark.addEventListener(name, () => { held = null; near.classList.remove('seen') })
  mark.addEventListener('keydown', e => {
    const step = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[e.key]
    if (!step) return
    const far = e.shiftKey ? 20 : 1, pixel = Math.max(1, Math.max(width, height) / 2000)
    move(k, quad[k][0] + step[0] * far * pixel, quad[k][1] + step[1] * far * pixel)
    e.preventDefault()
  })
  mark.addEventListener('blur', () => near.classList.remove('seen'))
})

// --- the work as it would be straightened -----------------------------------------------------------------------

function convex() {
  const sign = quad.map((p, k) => {
    const q = quad[(k + 1) % 4], r = quad[(k + 2) % 4]
    return (q[0] - p[0]) * (r[1] - q[1]) - (q[1] - p[1]) * (r[0] - q[0])
  })
  return sign.every(v => v > 0)
}

function solve(from, to) { // the eight numbers of the plane's mapping that takes four points to four others
  const rows = []
  from.forEach(([x, y], k) => {
    const [u, v] = to[k]
    rows.push([x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v])
  })
  for (let c = 0; c < 8; c++) {
    let best = c
    for (let r = c; r < 8; r++) if (Math.abs(rows[r][c]) > Math.abs(rows[best][c])) best = r
    ;[rows[c], rows[best]] = [rows[best], rows[c]]
    for (let r = 0; r < 8; r++) {
      if (r === c) continue
      const m = rows[r][c] / rows[c][c]
      for (let j = c; j < 9; j++) rows[r][j] -= m * rows[c][j]
    }
  }
  return rows.map((row, k) => row[8] / row[k])
}

function turned() {
  const by = {left: 1, 'upside down': 2, right: 3}[turn.value] || 0
  return [0, 1, 2, 3].map(k => quad[(k + by) % 4])
}

function proportion(q) {
  const side = (a, b) => Math.hypot(q[a][0] - q[b][0], q[a][1] - q[b][1])
  const seen = (side(0, 1) + side(2, 3)) / (side(1, 2) + side(3, 0))
  const said = size.value.replace(/,/g, '.').match(/^\s*([\d.]+)\s*\S*\s*[x×]\s*([\d.]+)/)
  if (!said || !(+said[1] > 0 && +said[2] > 0)) return seen
  const given = said[2] / said[1]
  return Math.abs(Math.log(seen / given)) < Math.abs(Math.log(seen * given)) ? given : 1 / given
}

function straighten() {
  const q = turned(), ratio = Math.min(8, Math.max(1 / 8, proportion(q))), most = 440
  const w = Math.round(ratio >= 1 ? most : most * ratio), h = Math.round(ratio >= 1 ? most / ratio : most)
  const shown = source.width / width, target = q.map(p => [p[0] * shown, p[1] * shown])
  const m = solve([[0, 0], [w, 0], [w, h], [0, h]], target)
  result.width = w
  result.height = h
  const context = result.getContext('2d'), made = context.createImageData(w, h), out = made.data, data = source.data
  for (let y = 0, at = 0; y < h; y++) {
    for (let x = 0; x < w; x++, at += 4) {
      const d = m[6] * (x + 0.5) + m[7] * (y + 0.5) + 1
      const u = (m[0] * (x + 0.5) + m[1] * (y + 0.5) + m[2]) / d - 0.5, v = (m[3] * (x + 0.5) + m[4] * (y + 0.5) + m[5]) / d - 0.5
      const i = Math.floor(u), j = Math.floor(v)
      if (i < 0 || j < 0 || i >= source.width - 1 || j >= source.height - 1) { out[at + 3] = 0; continue }
      const a = u - i, b = v - j, p = (j * source.width + i) * 4, below = p + source.width * 4
      for (let c = 0; c < 3; c++) {
        out[at + c] = (data[p + c] * (1 - a) + data[p + 4 + c] * a) * (1 - b) + (data[below + c] * (1 - a) + data[below + 4 + c] * a) * b
      }
      out[at + 3] = 255
    }
  }
  context.putImageData(made, 0, 0)
}

// --- the note ---------------------------------------------------------------------------------------------------

function tell() {
  const right = whole || convex()
  wrong.hidden = right
  save.classList.toggle('off', !right)
  if (right && source) straighten()
  const corners = quad.map(p => p.map(v => Math.round(v)).join(',')).join(' ')
  const said = [`photo: ${bench.dataset.photo}`, whole ? 'outline: whole photo' : `corners: ${corners}`]
  if (turn.value !== was.turn) said.push(`turn: ${turn.value}`)
  if (kind.value && kind.value !== was.kind) said.push(`kind: ${kind.value}`)
  if (size.value.trim() && size.value !== was.size) said.push(`size: ${size.value.trim()}`)
  const text = said.join('\n') + '\n'
  if (text === note.textContent) return
  note.textContent = text
  done.textContent = ''
  if (address) URL.revokeObjectURL(address)
  address = URL.createObjectURL(new Blob([text], {type: 'text/plain'}))
  save.href = address
}

document.getElementById('all').addEventListener('click', () => {
  quad = [[0, 0], [width, 0], [width, height], [0, height]]
  whole = true
  show()
})
document.getElementById('back').addEventListener('click', () => {
  quad = start.map(p => [...p])
  whole = false
  for (const [field, value] of [[turn, was.turn], [kind, was.kind], [size, was.size]]) field.value = value
  show()
})
document.getElementById('copy').addEventListener('click', async () => {
  try {
    await navigator.clipboard.writeText(note.textContent)
    done.textContent = 'Copied.'
  } catch {
    getSelection().selectAllChildren(note)
    done.textContent = document.execCommand('copy') ? 'Copied.' : 'The text is marked: copy it.'
  }
})
save.addEventListener('click', () => { done.textContent = 'Saved. Put the file into the inbox.' })
for (const field of [turn, kind]) field.addEventListener('change', show)
size.addEventListener('input', show)
new ResizeObserver(show).observe(box)

function begin() {
  const canvas = document.createElement('canvas')
  canvas.width = picture.naturalWidth
  canvas.height = picture.naturalHeight
  const context = canvas.getContext('2d', {willReadFrequently: true})
  context.drawImage(picture, 0, 0)
  source = context.getImageData(0, 0, canvas.width, canvas.height)
  show()
}
if (picture.complete) begin()
else picture.addEventListener('load', begin)
