//! What a logo may be, and that nothing else of a file reaches a document.

use super::*;

fn png_of(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = ::png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(::png::ColorType::Rgb);
    encoder.add_text_chunk("Comment".to_owned(), "<script>".to_owned()).unwrap();
    let mut writer = encoder.write_header().unwrap();
    let pixels: Vec<u8> = (0..width * height).flat_map(|k| [k as u8, 128, 255]).collect();
    writer.write_image_data(&pixels).unwrap();
    writer.finish().unwrap();
    bytes
}

fn svg_of(inner: &str) -> Vec<u8> {
    format!(r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{inner}</svg>"#).into_bytes()
}

#[track_caller]
fn refused(bytes: &[u8], words: &str) {
    let error = Logo::read(bytes).expect_err("it must be refused");
    assert!(error.to_string().contains(words), "{words:?} is not in: {error}");
}

#[test]
fn a_png_keeps_its_pixels_and_loses_everything_else() {
    let bytes = [png_of(3, 2), b"<script>after the end".to_vec()].concat();
    let Logo::Png { file, size, rgba } = Logo::read(&bytes).unwrap() else { panic!("pixels") };
    assert_eq!((size, rgba.len()), ((3, 2), 24));
    assert_eq!(rgba[..8], [0, 128, 255, 255, 1, 128, 255, 255]);
    assert!(!String::from_utf8_lossy(&file).contains("script"));
    assert_eq!(Logo::read(&file).unwrap(), Logo::Png { file: file.clone(), size, rgba });
}

#[test]
fn a_png_that_is_cut_or_altered_is_broken() {
    let whole = png_of(40, 40);
    refused(&whole[..20], "damaged");
    refused(&whole[..whole.len() / 2], "damaged");
    let mut altered = whole.clone();
    let at = altered.windows(4).position(|w| w == b"IDAT").unwrap() + 8;
    altered[at] ^= 0xff;
    refused(&altered, "damaged");
}

#[test]
fn a_png_that_claims_to_be_huge_is_refused_before_it_is_decoded() {
    let mut huge = png_of(2, 2);
    huge[16..20].copy_from_slice(&0x7fff_ffff_u32.to_be_bytes());
    huge[20..24].copy_from_slice(&0x7fff_ffff_u32.to_be_bytes());
    refused(&huge, "2147483647 × 2147483647 pixels");
    huge[16..20].copy_from_slice(&0_u32.to_be_bytes());
    refused(&huge, "1 to 4096");
}

#[test]
fn too_many_bytes_and_other_formats_are_refused() {
    refused(&vec![0; MOST_BYTES + 1], "1048577 bytes");
    refused(b"GIF89a", "neither PNG nor SVG");
    refused(b"<html><body/></html>", "neither PNG nor SVG");
    refused(b"", "neither PNG nor SVG");
    refused(&[0xff, 0xfe], "neither PNG nor SVG");
}

#[test]
fn shapes_pass_and_what_editors_leave_behind_is_dropped() {
    let svg = r##"<?xml version="1.0"?><!-- made by hand -->
        <svg xmlns="http://www.w3.org/2000/svg" xmlns:e="urn:editor" viewBox="0 0 10 10" e:zoom="2" class="x">
        <title>t</title><metadata><e:view/></metadata><e:view at="1"/>
        <defs><linearGradient id="g"><stop offset="0" stop-color="#f00"/><stop offset="1"/></linearGradient></defs>
        <g transform="scale(2)"><path d="M0 0L5 5&#10;z" style="fill:url(#g);stroke:none"/></g></svg>"##;
    let Logo::Svg { text } = Logo::read(svg.as_bytes()).unwrap() else { panic!("shapes") };
    assert!(text.contains(r##"fill="url(#g)""##) && text.contains(r#"d="M 0 0 L 5 5 Z""#), "{text}");
    assert!(text.contains("<linearGradient") && !text.contains("style"), "{text}");
    for word in ["editor", "made by hand", "<title", "class", "zoom", "view "] {
        assert!(!text.contains(word), "{word} in {text}");
    }
    assert!(Logo::Svg { text }.data_url().starts_with("data:image/svg+xml;base64,"));
}

#[test]
fn what_could_run_load_or_refer_is_refused() {
    for (inner, words) in [
        ("<script>alert(1)</script>", "“script”"),
        (r#"<g onload="alert(1)"/>"#, "“onload”"),
        (r#"<g ONCLICK="alert(1)"/>"#, "“ONCLICK”"),
        ("<foreignObject/>", "“foreignObject”"),
        (r#"<image href="file:///etc/passwd"/>"#, "“image”"),
        (r##"<use href="#a"/>"##, "“use”"),
        (r#"<g xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="file:///etc/passwd"/>"#, "“href”"),
        ("<style>@import url(http://x)</style>", "“style”"),
        (r#"<rect style="fill:url(http://x)"/>"#, "url("),
        (r#"<rect fill="URL(file:///etc/passwd#a)"/>"#, "url("),
        (r#"<rect style="behavior:\75rl(x)"/>"#, "\\"),
        ("<text>a</text>", "“text”"),
        ("<animate/>", "“animate”"),
        ("<filter/>", "“filter”"),
        ("<a><rect/></a>", "“a”"),
        (r#"<body xmlns="http://www.w3.org/1999/xhtml"/>"#, "a part of a page"),
    ] {
        refused(&svg_of(inner), words);
    }
}

#[test]
fn entities_and_depth_are_refused() {
    let laughs = r#"<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>
        <svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><path d="&c;"/></svg>"#;
    refused(laughs.as_bytes(), "DOCTYPE");
    let outside = r#"<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>
        <svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><path d="&x;"/></svg>"#;
    refused(outside.as_bytes(), "DOCTYPE");
    refused(&svg_of(&format!("{}{}", "<g>".repeat(40), "</g>".repeat(40))), "nested deeper");
    refused(&svg_of(&"<g/>".repeat(30_000)), "can't be read");
    refused(b"<svg xmlns=\"http://www.w3.org/2000/svg\"><g></svg>", "can't be read");
}

#[test]
fn a_picture_without_a_size_or_beyond_all_bounds_is_refused() {
    for svg in [
        r#"<svg xmlns="http://www.w3.org/2000/svg"/>"#,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="0" height="5"/>"#,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="1e30" height="5"/>"#,
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 NaN 5"/>"#,
    ] {
        refused(svg.as_bytes(), "must be 0.1 to 100000");
    }
}

#[test]
fn what_is_written_anew_passes_again_and_says_the_same() {
    let inner = r##"<defs><clipPath id="c"><circle cx="5" cy="5" r="4"/></clipPath>
        <radialGradient id="r"><stop offset="0" stop-color="red"/><stop offset="1" stop-color="blue"/></radialGradient></defs>
        <g clip-path="url(#c)" opacity="0.5"><rect width="9" height="9" fill="url(#r)" stroke="#123456" stroke-dasharray="2 1"/></g>
        <path id="a b" d="M0 0q3 3 6 0z" fill-rule="evenodd" transform="rotate(30)"/>"##;
    let Logo::Svg { text } = Logo::read(&svg_of(inner)).unwrap() else { panic!("shapes") };
    for kept in
        ["clipPath", "radialGradient", "opacity=\"0.5\"", "stroke-dasharray=\"2 1\"", "evenodd", "matrix("]
    {
        assert!(text.contains(kept), "{kept} is not in {text}");
    }
    assert_eq!(Logo::read(text.as_bytes()).unwrap(), Logo::Svg { text: text.clone() });
}

#[test]
fn what_no_document_can_draw_is_refused() {
    let gradient = |attributes: &str, last: &str| {
        format!(
            r#"<linearGradient id="g" {attributes}><stop offset="0"/><stop offset="1" {last}/></linearGradient>
               <rect width="9" height="9" fill="url(#g)"/>"#
        )
    };
    let clip = |attributes: &str, inner: &str| {
        format!(
            r#"<clipPath id="c" {attributes}>{inner}</clipPath><rect width="9" height="9" clip-path="url(#c)"/>"#
        )
    };
    let stops = format!("<radialGradient>{}</radialGradient>", "<stop/>".repeat(65));
    let long = format!(r#"<rect stroke-dasharray="{}"/>"#, "1 ".repeat(1500));
    let two = "<rect width='1' height='1'/><rect width='1' height='1'/>";
    for (inner, words) in [
        (gradient(r#"spreadMethod="repeat""#, r#"stop-color="red""#).as_str(), "a gradient that repeats"),
        (&stops, "more than 64 colours"),
        (&long, "3000 bytes in its attribute “stroke-dasharray”"),
        (&clip("", two), "a clip path of several shapes"),
        (&clip(r#"clipPathUnits="objectBoundingBox""#, "<rect/>"), "units of what it clips"),
        (&clip(r#"clip-path="url(#d)""#, "<rect/>"), "refers to something else"),
        (r#"<g style="mix-blend-mode:multiply"><rect width="9" height="9"/></g>"#, "a blend mode"),
        (r#"<g id="a&lt;script>"/>"#, "an id “a<script>”"),
    ] {
        refused(&svg_of(inner), words);
    }
}
